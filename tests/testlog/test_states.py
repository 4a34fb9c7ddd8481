"""What a test, a repair and a void do to an item: its state, its due state, its flags."""

from datetime import date, timedelta
from uuid import uuid4

import pytest

from service.gear.core import FlagKind, ItemState
from service.kit.problems import Conflict, Invalid
from service.season.core import DueState
from service.season.models import ItemDue
from service.testlog.actions import call_suspect, change_state
from service.testlog.core import Evidence
from service.wiring.faults import FaultClass
from tests.support.program import Running
from tests.testlog.support import FLEXED, GOOD, OPEN_2, ZONE, Bench, bench


def due_of(at: Bench, code: str) -> tuple[str, date | None]:
    with at.program.store.reading() as db:
        row = db.get_one(ItemDue, at.ids[code])
        return row.state, row.due_by


def test_a_fail_quarantines_a_repair_asks_for_a_pass_and_the_pass_puts_it_back(program: Running) -> None:
    at = bench(program, "xlr3", spare=True)
    (code,) = at.codes
    answer = at.test(code, OPEN_2)
    assert (answer["verdict"], answer["state"]) == ("fail", "quarantined")
    assert answer["faults"] == [{"class": "open", "conductors": ["2"], "end": None}]
    assert due_of(at, code) == (DueState.BLOCKED, None)
    assert at.flags(code, FlagKind.BLOCKED) == ["blocked"]
    program.clock.ahead(minutes=1)
    assert at.test(code)["state"] == "quarantined"  # a second helper's pass ends nothing
    program.clock.ahead(minutes=1)
    at.repair(code)
    assert at.state(code) == ItemState.IN_REPAIR
    program.clock.ahead(minutes=1)
    assert at.test(code)["state"] == "spare"  # where it came from
    assert due_of(at, code) == (DueState.CURRENT, date(2026, 12, 1))
    assert at.flags(code, FlagKind.BLOCKED) == []


def test_what_arrives_late_counts_where_it_belongs(program: Running) -> None:
    at = bench(program, "xlr3")
    (code,) = at.codes
    start = program.clock.now
    program.clock.ahead(days=2)
    assert at.test(code)["state"] == "in_service"
    late = at.test(code, OPEN_2, tested_at=start + timedelta(hours=1))
    assert late["state"] == "quarantined"  # failed before, never repaired
    at.void(late["id"])
    assert at.state(code) == ItemState.IN_SERVICE
    program.clock.ahead(minutes=1)
    at.repair(code)
    program.clock.ahead(minutes=1)
    at.test(code)
    assert at.test(code, OPEN_2, tested_at=start + timedelta(hours=1))["state"] == "in_service"


def test_a_phone_wrong_by_years_is_set_right(program: Running) -> None:
    at = bench(program, "xlr3")
    (code,) = at.codes
    phone = program.clock.now - timedelta(days=3000)
    at.test(code, tested_at=phone - timedelta(hours=3), sent_at=phone)
    with program.store.reading() as db:
        assert db.get_one(ItemDue, at.ids[code]).last_passed_at == program.clock.now - timedelta(hours=3)
    with pytest.raises(Invalid, match="in the future"):
        at.test(code, tested_at=program.clock.now + timedelta(minutes=11))


def test_evidence_of_a_fault_makes_it_a_fail(program: Running) -> None:
    at = bench(program, "xlr3")
    (code,) = at.codes
    answer = at.test(code, GOOD, evidence=(Evidence(FaultClass.DAMAGE, note="bent contact"), *FLEXED))
    assert answer["verdict"] == "fail"
    assert answer["faults"] == [{"class": "damage", "conductors": [], "end": None, "note": "bent contact"}]


def test_through_several_a_pass_proves_all_and_a_fail_leaves_all_suspect_until_one_is_found(
    program: Running,
) -> None:
    at = bench(program, "d25-to-xlr8", "d25x8", "d25-to-xlr8")
    hub, trunk, fan = at.codes
    lanes = [[f"{end}{lane}.{contact}" for end in "AB"] for lane in range(1, 9) for contact in (1, 2, 3)]
    assert at.test(hub, lanes, through=(trunk, fan))["verdict"] == "pass"
    assert [due_of(at, code)[0] for code in at.codes] == [DueState.CURRENT] * 3
    program.clock.ahead(minutes=1)
    failed = at.test(hub, lanes[1:], through=(trunk, fan))
    assert (failed["verdict"], failed["state"]) == ("fail", "in_service")
    assert [at.flags(code) for code in at.codes] == [[failed["id"]]] * 3
    assert [due_of(at, code)[0] for code in at.codes] == [DueState.BLOCKED] * 3
    program.clock.ahead(minutes=1)
    at.test(fan, [])
    assert at.state(fan) == ItemState.QUARANTINED
    assert [at.flags(code) for code in at.codes] == [[], [], []]
    assert [due_of(at, code)[0] for code in at.codes] == [
        DueState.CURRENT,
        DueState.CURRENT,
        DueState.BLOCKED,
    ]


def test_a_pass_alone_ends_the_suspicion_of_a_test_through_several_and_a_void_brings_it_back(
    program: Running,
) -> None:
    at = bench(program, "xlr3", "xlr3")
    one, other = at.codes
    failed = at.test(one, OPEN_2, through=(other,))
    program.clock.ahead(minutes=1)
    passed = at.test(one)
    assert (at.flags(one), at.flags(other)) == ([], [failed["id"]])
    at.void(passed["id"])
    assert at.flags(one) == [f"{failed['id']}#2"]
    at.void(failed["id"])
    assert (at.flags(one), at.flags(other)) == ([], [])


def test_only_a_flex_test_clears_what_crackled(program: Running) -> None:
    at = bench(program, "xlr3")
    (code,) = at.codes
    crackled = uuid4()
    with program.store.writing() as db:
        call_suspect(db, at.ids[code], crackled, "", at.lead, program.clock.now)
    program.clock.ahead(minutes=1)
    at.test(code)
    assert at.flags(code) == [str(crackled)]
    program.clock.ahead(minutes=1)
    flexed = at.test(code, evidence=FLEXED)
    assert at.flags(code) == []
    at.void(flexed["id"])
    assert at.flags(code) == [f"{crackled}#2"]


def test_a_lead_cannot_talk_a_fault_away(program: Running) -> None:
    at = bench(program, "xlr3")
    (code,) = at.codes
    at.test(code, OPEN_2)

    def change(to: ItemState) -> None:
        with program.store.writing() as db:
            change_state(db, at.ids[code], to, "because", at.lead, program.clock.now, ZONE)

    with pytest.raises(Conflict, match="Log its repair"):
        change(ItemState.SPARE)
    change(ItemState.IN_REPAIR)
    program.clock.ahead(minutes=1)
    at.repair(code)
    with pytest.raises(Conflict, match="not tested since"):
        change(ItemState.IN_SERVICE)
    change(ItemState.RETIRED)
    program.clock.ahead(minutes=1)
    assert at.test(code)["state"] == "retired"
    change(ItemState.IN_SERVICE)


def test_a_repair_may_shorten_but_not_lengthen(program: Running) -> None:
    at = bench(program, "xlr3")
    (code,) = at.codes
    at.repair(code, length_mm=2900)
    with pytest.raises(Invalid, match="no cable longer"):
        at.repair(code, length_mm=3000)
