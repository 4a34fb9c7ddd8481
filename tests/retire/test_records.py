"""What the log says against an item: fails at one end, told by the test or by its repair, and bent contacts."""

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from service.gear.core import End
from service.retire.decisions.core import Failure, PastTest, is_still_bent, last_tests
from service.retire.decisions.queries import has_limits, records, repair_prices
from service.retire.repair_or_replace.core import PriceSource, RepairPrice
from service.season.core import What
from service.testlog.core import Evidence, LogEntry
from service.wiring.faults import FaultClass
from tests.support.program import Running
from tests.testlog.support import OPEN_2, ZONE, Bench, bench

NOON = datetime(2026, 9, 1, 16, tzinfo=UTC)
BENT = (Evidence(FaultClass.DAMAGE, End.A, "bent contact"),)


def told(at: Bench, wirings: dict[UUID, str]) -> Any:
    with at.program.store.reading() as db:
        return records(db, wirings, ZONE, 8)


def at(day: int, what: What, alone: bool = True) -> LogEntry:
    return LogEntry(NOON + timedelta(days=day), what, uuid4(), alone)


def test_a_fail_that_told_no_end_is_at_the_end_of_the_repair_that_came_next() -> None:
    history = [
        at(0, What.PASS),
        at(1, What.FAIL),
        at(2, What.REPAIR),
        at(3, What.PASS),
        at(4, What.FAIL),
        at(6, What.PASS),
        at(7, What.FAIL, alone=False),
        at(8, What.PARTIAL),
        at(9, What.FAIL),
    ]
    failed = [Failure(NOON + timedelta(days=1)), Failure(NOON + timedelta(days=4), {End.A})]
    repairs = [(NOON + timedelta(days=2), End.B)]
    assert last_tests(history, failed, repairs, 8) == (
        PastTest(False),
        PastTest(True, frozenset({End.B})),
        PastTest(False),
        PastTest(True, frozenset({End.A})),
        PastTest(False),
        PastTest(True),
    )
    assert len(last_tests(history, failed, repairs, 3)) == 3


def test_repeated_fails_are_read_from_the_log(program: Running) -> None:
    found = bench(program, "xlr3", "xlr3")
    code, other = found.codes
    for cost in (400, 0, 500):
        program.clock.ahead(days=1)
        found.test(code, OPEN_2)
        found.repair(code, end=End.B, cost_cents=cost)
        found.test(code)
    void = found.test(other, OPEN_2)
    found.void(void["id"])
    record = told(found, dict.fromkeys(found.ids.values(), "xlr3"))
    assert [one.ends for one in record[found.ids[code]].tests if one.failed] == [frozenset({End.B})] * 3
    assert found.ids[other] not in record  # what was voided says nothing
    with program.store.reading() as db:
        prices = repair_prices(db)
    assert prices["cable"] == RepairPrice(300, PriceSource.LOG, 3)  # the one that cost nothing counts
    assert prices["hub"] == RepairPrice(600, PriceSource.DEFAULT)
    assert program.viewer.get("/buying").status_code == 200


def test_a_repair_whose_cost_nobody_wrote_down_is_not_free(program: Running) -> None:
    found = bench(program, "xlr3")
    for cost in (400, None, 400):
        program.clock.ahead(days=1)
        found.test(found.codes[0], OPEN_2)
        found.repair(found.codes[0], end=End.B, cost_cents=cost)
    with program.store.reading() as db:
        assert repair_prices(db)["cable"].source is PriceSource.DEFAULT  # two tell their cost, and three are enough
        assert not has_limits(db)
    found.repair(found.codes[0], end=End.B, cost_cents=400)
    with program.store.reading() as db:
        assert repair_prices(db)["cable"] == RepairPrice(400, PriceSource.LOG, 3)


def test_a_bent_contact_counts_on_a_connector_with_many(program: Running) -> None:
    found = bench(program, "d25x8", "xlr3")
    multi, single = found.codes
    good = [[f"A{pin}", f"B{pin}"] for pin in range(1, 26)]
    found.test(multi, good, evidence=BENT)
    found.test(single, evidence=BENT)
    record = told(found, {found.ids[multi]: "d25x8", found.ids[single]: "xlr3"})
    assert record[found.ids[multi]].bent_on == program.clock.now.astimezone(ZONE).date()
    assert record[found.ids[single]].bent_on is None
    assert record[found.ids[multi]].still_bent


def test_a_bent_contact_is_straightened_by_a_repair_at_its_end(program: Running) -> None:
    found = bench(program, "d25x8")
    [code] = found.codes
    good = [[f"A{pin}", f"B{pin}"] for pin in range(1, 26)]

    def is_bent() -> bool:
        return bool(told(found, {found.ids[code]: "d25x8"})[found.ids[code]].still_bent)

    found.test(code, good, evidence=BENT)
    program.clock.ahead(minutes=1)
    found.repair(code, end=End.B)
    assert is_bent()  # it was bent at end A
    found.repair(code, "straightened the contact", end=End.A)
    assert not is_bent()
    program.clock.ahead(days=21)
    found.test(code, good[1:])
    assert not is_bent()  # it fails again, with an open line


def test_whether_a_contact_is_still_bent() -> None:
    bent = Failure(NOON, set(), {End.A, None})
    later = NOON + timedelta(days=1)
    assert is_still_bent(bent, [])
    assert is_still_bent(bent, [(NOON - timedelta(days=1), End.A), (later, End.B)])
    assert not is_still_bent(bent, [(later, End.A)])
    assert not is_still_bent(bent, [(later, None)])
    assert not is_still_bent(Failure(NOON, set(), {None}), [(later, End.B)])
