"""The pull list: who gets the spares, which spares may go in, a lead's word, and what changed since it was printed."""

from datetime import timedelta
from typing import Any
from uuid import UUID

from hypothesis import given, settings
from hypothesis import strategies as st

from service.retire.decisions.core import Action, Limits, Reason
from service.retire.lists.core import Decided, Printed, changes, decided
from service.testlog.core import FaultStatus
from tests.retire.support import BLOCKED, DUE, EVENT, OVERDUE, TODAY, UNTESTED, case, gear, used

LIMITS = Limits()
BROKEN: dict[str, Any] = {"fault": FaultStatus.OPEN}


def lines(in_use, spares=()) -> list[Decided]:  # type: ignore[no-untyped-def]
    return decided(in_use, spares, LIMITS, TODAY, EVENT)


def test_what_comes_out_gets_its_spare_before_what_a_test_may_clear() -> None:
    first, second = lines(used(gear(1, UNTESTED), gear(2, BLOCKED, **BROKEN)), case(gear(9)))
    assert (first.action, first.spare) == (Action.TEST_FIRST, None)
    assert (second.action, second.spare, second.comes_out) == (Action.REPAIR_FIRST, UUID(int=9), True)


def test_what_is_tested_first_is_told_what_goes_in_if_it_fails() -> None:
    (line,) = lines(used(gear(1, UNTESTED)), case(gear(9)))
    assert (line.spare, line.comes_out) == (UUID(int=9), False)


def test_what_crackled_has_the_first_spare_of_those_that_are_tested() -> None:
    late, crackled = lines(used(gear(1, OVERDUE), gear(2, suspect="")), case(gear(9)))
    assert (late.action, late.spare) == (Action.TEST_FIRST, None)
    assert (crackled.action, crackled.spare) == (Action.TEST_FIRST, UUID(int=9))


def test_a_shorter_one_does_not_fit() -> None:
    (line,) = lines(used(gear(1, BLOCKED, **BROKEN)), case(gear(9, length=3047)))
    assert line.spare is None


def test_risk_lists_what_has_no_spare_too_and_the_riskiest_get_theirs_first() -> None:
    risky = used(gear(1, risk=0.2), gear(2, risk=0.4), gear(3, risk=0.3), gear(4, risk=0.05))
    for spares in ([], case(gear(8), gear(9))):
        found = lines(risky, spares)
        assert [line.gear.id.int for line in found] == [1, 2, 3]
        assert {(line.reasons, line.action) for line in found} == {((Reason.AT_RISK,), Action.TEST_FIRST)}
        assert [line.gear.id.int for line in found if line.spare] == ([2, 3] if spares else [])
    assert found[0].why == ("20 % chance that it is bad by the event (limit 10 %). Test first, nothing to put in.",)


def test_a_risky_one_that_is_watched_by_a_leads_word_is_not_told_to_be_tested() -> None:
    risky = "13 % chance that it is bad by the event (limit 10 %)."
    (line,) = lines(used(gear(1, risk=0.13), said=Action.WATCH), case(gear(9)))
    assert (line.action, line.spare, line.why) == (Action.WATCH, None, (risky,))
    (line,) = lines(used(gear(1, risk=0.13), said=Action.TEST_FIRST))
    assert line.why == (f"{risky} Test first, nothing to put in.",)


def test_a_risky_one_with_something_to_watch_gets_a_spare_too() -> None:
    (line,) = lines(used(gear(1, risk=0.13, bent_on=TODAY - timedelta(days=9))), case(gear(9)))
    assert line.reasons == (Reason.BENT_CONTACT, Reason.AT_RISK)
    assert (line.action, line.spare) == (Action.TEST_FIRST, UUID(int=9))


def test_risk_stands_beside_an_overdue_date_with_a_spare_and_without() -> None:
    (line,) = lines(used(gear(1, OVERDUE, risk=0.5)))
    assert (line.reasons, line.spare) == ((Reason.OVERDUE, Reason.AT_RISK), None)
    (line,) = lines(used(gear(1, OVERDUE, risk=0.5)), case(gear(9)))
    assert line.reasons == (Reason.OVERDUE, Reason.AT_RISK)
    (line,) = lines(used(gear(1, length=2743, bought_mm=3048, risk=0.5)), case(gear(9)))
    assert line.reasons == (Reason.SHORTENED,)  # it comes out anyway


def test_only_proven_spares_go_in() -> None:
    broken = used(gear(1, BLOCKED, **BROKEN))
    for spare in (
        gear(9, UNTESTED),
        gear(9, OVERDUE),
        gear(9, suspect=""),
        gear(9, risk=0.2),
        gear(9, DUE, OVERDUE),
    ):
        assert lines(broken, case(spare))[0].spare is None
    assert lines(broken, case(gear(9), passed=None))[0].spare is None
    old = EVENT - timedelta(days=LIMITS.spare_days + 1)
    assert lines(broken, case(gear(9), passed=old))[0].spare is None  # current without a round is no pass
    assert lines(broken, case(gear(9), passed=old + timedelta(days=1)))[0].spare
    assert lines(broken, case(gear(9, DUE), passed=EVENT - timedelta(days=20)))[0].spare is None  # not in this round


def test_a_spare_that_was_cut_goes_in_where_it_reaches() -> None:
    cut = gear(9, length=2743, bought_mm=6096)
    assert lines(used(gear(1, BLOCKED, fault=FaultStatus.OPEN, length=2743)), case(cut))[0].spare == UUID(int=9)
    assert lines(used(gear(1, BLOCKED, fault=FaultStatus.OPEN)), case(cut))[0].spare is None
    in_use = gear(1, length=2743, bought_mm=6096)
    assert lines(used(in_use))[0].reasons == (Reason.SHORTENED,)  # what is in use is still to be retired


def test_a_lead_overrules_one_line() -> None:
    broken = gear(1, BLOCKED, **BROKEN)
    (line,) = lines(used(broken, said=Action.WATCH), case(gear(9)))
    assert (line.action, line.spare, line.reasons) == (Action.WATCH, None, (Reason.BLOCKED,))
    (line,) = lines(used(gear(1), said=Action.RETIRE), case(gear(9)))
    assert (line.action, line.spare, line.why) == (Action.RETIRE, UUID(int=9), ())


@given(st.lists(st.sampled_from([BLOCKED, UNTESTED, DUE]), max_size=6), st.integers(0, 4))
@settings(max_examples=30)
def test_no_spare_is_named_twice_and_none_is_left_while_something_waits(states, spares: int) -> None:  # type: ignore[no-untyped-def]
    in_use = [
        gear(number, state, fault=FaultStatus.OPEN if state is BLOCKED else FaultStatus.NONE)
        for number, state in enumerate(states)
    ]
    found = lines(used(*in_use), case(*[gear(100 + number) for number in range(spares)]))
    named = [line.spare for line in found if line.spare]
    assert len(set(named)) == len(named) == min(spares, len(found))
    unfilled = [line for line in found if line.comes_out and line.spare is None]
    assert not unfilled or all(line.comes_out for line in found if line.spare)


def printed(
    code: str, action: Action = Action.RETIRE, spare: str = "", place: str = "Frame 1", why: str = ""
) -> Printed:
    return Printed(code, "10 ft cable", place, action, spare, (why,))


def test_what_changed_since_it_was_printed() -> None:
    before = [printed("A"), printed("B"), printed("C", why="3 %"), printed("D"), printed("E", spare="X")]
    now = [printed("B", Action.WATCH), printed("C", why="4 %"), printed("E", spare="Y"), printed("F")]
    found = changes(before, now, done=["D"])
    assert [line.code for line in found.added] == ["F"]
    assert [line.code for line in found.dropped] == ["A"]
    assert [(was.code, line.code) for was, line in found.changed] == [("B", "B"), ("E", "E")]
    assert not changes(before, before, [])
    assert changes([], [printed("A")], [])


def test_a_spare_that_passed_after_the_event_day_counts_as_fresh() -> None:
    broken = used(gear(1, BLOCKED, **BROKEN))
    assert lines(broken, case(gear(9), passed=EVENT + timedelta(days=3)))[0].spare == UUID(int=9)
