"""The flag "at risk": raised from the program's limit on, once for a last pass, and cleared by the next."""

from service.gear.core import FlagKind, ItemState
from service.testlog.actions import change_state
from service.testlog.housekeeping import keep_house
from service.wear.housekeeping import chore
from service.wear.queries import risks
from tests.home.support import Truck
from tests.support.program import Running
from tests.testlog.support import OPEN_2, ZONE
from tests.wear.support import item, worn_out


def keep(at: Truck, limit: float) -> str:
    program = at.program
    return keep_house(program.store, program.clock.now, [chore(lambda _db: limit)])


def flags(at: Truck, label: str) -> list[str]:
    return at.flags(at.tags[label], FlagKind.AT_RISK)


def risk_of(at: Truck, label: str) -> float:
    with at.program.store.reading() as db:
        return risks(db, ZONE, at.program.clock.now.date())[item(at, label)]


def test_it_is_raised_from_the_limit_on_and_only_once(program: Running) -> None:
    at = worn_out(program, 5, 12)
    at.passes("cable 9")  # on October 16, as all others were last tested on October 11
    program.clock.ahead(days=15)
    between = (risk_of(at, "cable 9") + risk_of(at, "cable 10")) / 2
    assert keep(at, 0.999) == "items at risk: 0."
    assert keep(at, between) == "items at risk: 11."
    assert flags(at, "cable 10") == ["2026-10-11"]
    assert flags(at, "cable 9") == []
    assert flags(at, "cable 0") == []  # it has failed, so it is no longer a matter of chance
    program.clock.ahead(days=1)
    keep(at, between)
    assert flags(at, "cable 10") == ["2026-10-11"]


def test_a_pass_clears_it_at_once_and_later_it_is_raised_again(program: Running) -> None:
    at = worn_out(program, 5, 12)
    program.clock.ahead(days=15)
    limit = risk_of(at, "cable 10") / 2
    keep(at, limit)
    at.passes("cable 10")
    assert flags(at, "cable 10") == []
    assert keep(at, limit) == "items at risk: 0."
    program.clock.ahead(days=25)
    keep(at, limit)
    assert flags(at, "cable 10") == ["2026-10-31"]


def test_it_is_cleared_by_what_ends_the_risk(program: Running) -> None:
    at = worn_out(program, 5, 12)
    program.clock.ahead(days=15)
    limit = risk_of(at, "cable 10") / 2
    keep(at, limit)
    at.test(at.tags["cable 10"], OPEN_2)
    with program.store.writing() as db:
        change_state(db, item(at, "cable 11"), ItemState.SPARE, "into the case", at.lead, program.clock.now, ZONE)
    program.clock.ahead(minutes=5)
    assert keep(at, limit) == "items at risk: 2."
    assert flags(at, "cable 10") == flags(at, "cable 11") == []
    assert keep(at, 0.999) == "items at risk: 10."
    assert keep(at, limit) == "items at risk: 10."
    assert flags(at, "cable 9") == ["2026-10-11#2"]


def test_what_passes_after_it_was_reckoned_is_left_alone(program: Running) -> None:
    at = worn_out(program, 5, 12)
    program.clock.ahead(days=15)
    limit, now = risk_of(at, "cable 10") / 2, program.clock.now
    for step in chore(lambda _db: limit).steps(program.store, now.date()):
        at.passes("cable 10")  # nobody waits for what is reckoned
        with program.store.writing() as db:
            step(db, now.date(), now)
    assert flags(at, "cable 10") == []
    assert flags(at, "cable 11") == ["2026-10-11"]
