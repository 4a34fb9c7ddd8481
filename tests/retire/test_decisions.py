"""Decisions: each reason with its words and figures, at and beside its threshold, and what it asks for."""

from datetime import date, timedelta
from typing import Any

import pytest

from service.gear.core import End
from service.retire.decisions.core import (
    Action,
    Gear,
    Limits,
    PastTest,
    Reason,
    action_of,
    at_risk,
    reasons_for,
)
from service.retire.repair_or_replace.core import ComparedCosts, Expected, Horizon, PriceSource, RepairPrice
from service.testlog.core import FaultStatus
from tests.retire.support import BLOCKED, DUE, OVERDUE, TODAY, UNTESTED, gear

LIMITS = Limits()
PASS, FAIL_A, FAIL_B, FAIL = (
    PastTest(False),
    PastTest(True, frozenset({End.A})),
    PastTest(True, frozenset({End.B})),
    PastTest(True),
)


def told(one: Gear, limits: Limits = LIMITS) -> list[tuple[Reason, str, Action]]:
    return [(each.reason, each.why, each.action) for each in reasons_for(one, limits, TODAY)]


def test_what_is_in_order_needs_nothing() -> None:
    assert told(gear(1)) == []
    assert told(gear(1, DUE)) == []


def test_an_open_fault_is_repaired_first_and_a_repaired_one_tested_first() -> None:
    assert told(gear(1, BLOCKED, fault=FaultStatus.OPEN)) == [
        (Reason.BLOCKED, "It failed and is not repaired.", Action.REPAIR_FIRST)
    ]
    assert told(gear(1, BLOCKED, fault=FaultStatus.REPAIRED)) == [
        (Reason.BLOCKED, "Repaired, but no pass proves it yet.", Action.TEST_FIRST)
    ]


def test_a_round_that_closes_before_the_event_counts() -> None:
    [(reason, why, action)] = told(gear(1, DUE, OVERDUE))
    assert (reason, action) == (Reason.OVERDUE, Action.TEST_FIRST)
    assert why == "Overdue at the event, unless it passes by Thu Oct 15."


def test_what_was_never_tested_is_late_or_crackled_is_tested_first() -> None:
    assert told(gear(1, UNTESTED)) == [(Reason.UNTESTED, "It never passed a test.", Action.TEST_FIRST)]
    late = told(gear(1, OVERDUE, suspect="crackled at rehearsal."))
    assert late == [
        (Reason.OVERDUE, "Overdue: it had to pass by Thu Oct 15.", Action.TEST_FIRST),
        (Reason.SUSPECT, "Suspect: crackled at rehearsal. It is likelier bad than its chance says.", Action.TEST_FIRST),
    ]
    assert told(gear(1, suspect=""))[0][1] == "Suspect: it crackled. It is likelier bad than its chance says."


def test_the_third_fail_at_one_end_retires() -> None:
    twice, thrice = (FAIL_B, PASS, FAIL_B, PASS), (FAIL_B, PASS, FAIL_B, PASS, FAIL_B, PASS)
    assert told(gear(1, tests=thrice)) == [
        (Reason.REPEATED, "Failed at end B in 3 of its last 6 tests (limit 3).", Action.RETIRE)
    ]
    assert told(gear(1, tests=twice)) == [
        (Reason.REPEATED, "Failed at end B in 2 of its last 4 tests; at 3 it is to be retired.", Action.WATCH)
    ]
    assert told(gear(1, tests=(FAIL_A, PASS, FAIL_B, PASS))) == []  # one at each end
    assert told(gear(1, tests=(FAIL, PASS, FAIL, PASS, FAIL, PASS))) == []  # nobody knows at which
    assert told(gear(1, tests=(*thrice[:2], *[PASS] * 5, FAIL_B, PASS, FAIL_B))) == [
        (Reason.REPEATED, "Failed at end B in 2 of its last 8 tests; at 3 it is to be retired.", Action.WATCH)
    ]  # the first is too long ago


def test_a_bent_contact_is_never_plugged_in_and_watched_afterwards() -> None:
    bent = date(2026, 9, 20)
    both = told(gear(1, BLOCKED, fault=FaultStatus.OPEN, bent_on=bent, still_bent=True))
    assert [reason for reason, _, _ in both] == [Reason.BLOCKED, Reason.BENT_CONTACT]
    assert "bent on Sun Sep 20. Plug it in nowhere" in both[1][1]
    [(reason, why, action)] = told(gear(1, bent_on=bent))
    assert (reason, action) == (Reason.BENT_CONTACT, Action.WATCH)
    assert "straightened" in why
    assert told(gear(1, bent_on=TODAY - timedelta(days=366))) == []


def test_a_short_after_the_contact_was_straightened_spoils_nothing() -> None:
    short = told(gear(1, BLOCKED, fault=FaultStatus.OPEN, bent_on=TODAY - timedelta(days=21)))
    assert [reason for reason, _, _ in short] == [Reason.BLOCKED, Reason.BENT_CONTACT]
    assert not any("Plug it in nowhere" in why for _, why, _ in short)
    assert "and straightened" in short[1][1]


def test_what_lost_more_than_its_share_of_length_retires() -> None:
    [(reason, why, action)] = told(gear(1, length=2743, bought_mm=3048))  # a foot of ten
    assert (reason, action) == (Reason.SHORTENED, Action.RETIRE)
    assert why == "Cut down to 9 ft from 10 ft: 10 % of its length is lost (limit 8 %)."
    assert told(gear(1, length=2805, bought_mm=3048)) == []  # 7.97 %
    assert told(gear(1, length=0, bought_mm=0)) == []


COSTS = " until the end of Spring, Sat May 29, 2027, they come to about "
SPRING = Horizon("Spring", date(2027, 5, 29), 140)


def broken(repair: int, failures: float, new_cents: int | None = 1850, **more: Any) -> Gear:
    """A cable with an open fault, whose repairs cost so much, and which fails so often until Spring ends."""
    wears = Expected(0.01, min(failures, 0.9), failures), Expected(0.01, 0.1, 0.1)
    told = ComparedCosts(RepairPrice(repair, PriceSource.LEAD), new_cents, *wears, 0.1, SPRING)
    return gear(1, BLOCKED, fault=FaultStatus.OPEN, comparison=told, **more)


def test_an_old_cable_with_a_cheap_first_repair_is_repaired() -> None:
    first = broken(449, 0.2, bought_on=TODAY - timedelta(days=2950))
    assert action_of(reasons_for(first, LIMITS, TODAY)) is Action.REPAIR_FIRST
    assert told(first)[1:] == [
        (
            Reason.REPAIR_OR_REPLACE,
            f"Repair it. A repair is $4.49, a new one $18.50;{COSTS}$5.39 and $18.95 with later repairs. Chance that "
            "it fails by then: 20 % repaired, 10 % new.",
            Action.REPAIR_FIRST,
        ),
        (
            Reason.OLD,
            "It is 8 years old, and your limit is 8: look over its jacket and connectors before it is repaired. Age "
            "alone retires nothing.",
            Action.WATCH,
        ),
    ]


def test_age_by_itself_changes_nothing_about_what_is_done() -> None:
    for failures in (0.2, 9.0):
        young, old = (broken(449, failures, bought_on=TODAY - timedelta(days=days)) for days in (100, 9000))
        assert action_of(reasons_for(young, LIMITS, TODAY)) is action_of(reasons_for(old, LIMITS, TODAY))


def test_what_is_repaired_again_and_again_is_replaced() -> None:
    worn = broken(600, 3.0, bought_on=TODAY - timedelta(days=9000))
    assert told(worn)[0] == (
        Reason.NOT_WORTH_IT,
        f"Replace it. A repair is $6.00, a new one $18.50;{COSTS}$24.00 and $19.10 with later repairs. Chance that it "
        "fails by then: 90 % repaired, 10 % new.",
        Action.RETIRE,
    )
    assert [reason for reason, _, _ in told(worn)] == [Reason.NOT_WORTH_IT, Reason.BLOCKED]  # it is not looked over


def test_what_its_record_retires_is_told_no_repair() -> None:
    thrice = broken(449, 0.2, tests=(FAIL_B, PASS, FAIL_B, PASS, FAIL_B))
    assert [reason for reason, _, _ in told(thrice)] == [Reason.REPEATED, Reason.BLOCKED]


def test_without_a_price_for_a_new_one_it_is_repaired_and_asked_for() -> None:
    [_, (reason, why, action)] = told(broken(449, 3.0, new_cents=None))
    assert (reason, action) == (Reason.REPAIR_OR_REPLACE, Action.REPAIR_FIRST)
    assert why.startswith("A repair is $4.49; nobody entered what a new one costs, so they are not compared.")
    assert "$0" not in why


def test_risk_asks_for_a_test_from_the_limit_on() -> None:
    assert at_risk(gear(1, risk=0.099), LIMITS, "7K3M9U") is None
    assert at_risk(gear(1), LIMITS, "7K3M9U") is None
    risky = at_risk(gear(1, risk=0.123), LIMITS, "7K3M9U")
    assert risky is not None
    assert (risky.action, risky.why) == (
        Action.TEST_FIRST,
        "12 % chance that it is bad by the event (limit 10 %). If it is, 7K3M9U goes in.",
    )


@pytest.mark.parametrize(
    ("risk", "shown"), [(0.1, "10 %"), (0.1036, "10.3 %"), (0.997, "99.7 %"), (0.9999, "over 99.9 %")]
)
def test_risk_is_never_shown_as_its_limit_nor_as_certain(risk: float, shown: str) -> None:
    risky = at_risk(gear(1, risk=risk), LIMITS, None)
    assert risky is not None
    assert risky.why.startswith(f"{shown} chance that it is bad by the event (limit 10 %).")
