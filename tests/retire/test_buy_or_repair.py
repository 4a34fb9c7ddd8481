"""Nothing stands under *buy* and *repair* at once, whatever failed, was decided by a lead, or was ticked."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import cast
from uuid import UUID

from hypothesis import given, settings
from hypothesis import strategies as st

from service.crew.core import ProgramFacts
from service.gear.core import End, ItemState
from service.gear.queries import ItemFacts
from service.retire.buying.actions import advised_items
from service.retire.decisions.core import Action, Gear, Limits, PastTest, action_of, reasons_of_broken
from service.retire.lists.core import decided
from service.retire.lists.queries import JudgedGear, PullList, PullRow, Ticked
from service.retire.repair_or_replace.core import ComparedCosts, Expected, RepairPrice
from service.retire.standings.core import Basis, Standing
from service.retire.standings.queries import ItemStanding
from service.season.models import Event
from service.testlog.core import FaultStatus
from tests.retire.support import BLOCKED, CURRENT, EVENT, OVERDUE, TODAY, UNTESTED, case, gear, piece, used

PROGRAM = ProgramFacts("Fernhollow Band Program", "UTC", "feet", "", None)
LIMITS = Limits()
FAILED = PastTest(failed=True, ends=frozenset({End.A}))


@dataclass(frozen=True)
class Piece:
    """An item as it is judged, its state, the lead's decision about it, and what was ticked."""

    gear: Gear
    state: ItemState
    home: ItemState
    overruled: Action | None
    ticked: Action | None

    @property
    def in_use(self) -> bool:
        return self.home is ItemState.IN_SERVICE


@st.composite
def pieces(draw: st.DrawFn, number: int) -> Piece:
    fault = draw(st.sampled_from([FaultStatus.NONE, FaultStatus.OPEN, FaultStatus.OPEN, FaultStatus.REPAIRED]))
    home = draw(st.sampled_from([ItemState.IN_SERVICE, ItemState.IN_SERVICE, ItemState.SPARE]))
    wears = st.builds(Expected, st.floats(0, 1), st.floats(0, 1), st.floats(0, 5))
    is_open = fault is FaultStatus.OPEN
    prices = st.builds(RepairPrice, st.integers(0, 3_000)), st.none() | st.integers(0, 3_000), wears, wears
    comparison = draw(st.builds(ComparedCosts, *prices, st.just(0.1))) if is_open and draw(st.booleans()) else None
    length = draw(st.sampled_from([1524, 3048]))
    found = gear(
        number,
        draw(st.sampled_from([CURRENT, OVERDUE, UNTESTED])) if fault is FaultStatus.NONE else BLOCKED,
        length=length,
        bought_mm=draw(st.sampled_from([length, 2 * length])),
        fault=fault,
        comparison=comparison,
        tests=(FAILED,) * draw(st.integers(0, 4)),
        suspect=draw(st.none() | st.just("")),
        risk=None if is_open else draw(st.floats(0, 0.3)),
    )
    state = draw(st.sampled_from([ItemState.QUARANTINED, ItemState.IN_REPAIR])) if is_open else home
    of_use = home is ItemState.IN_SERVICE
    words = st.none() | st.sampled_from(Action)
    return Piece(found, state, home, draw(words) if of_use else None, draw(words) if of_use else None)


programs = st.integers(1, 5).flatmap(lambda count: st.tuples(*(pieces(number) for number in range(1, count + 1))))


def facts(each: Piece) -> ItemFacts:
    of = each.gear
    return ItemFacts(
        of.id, of.kind, of.wiring, "", each.state, of.length_mm, None, "", None, None, TODAY, None, "Frame 1", "", 1
    )


def pull_of(program: tuple[Piece, ...]) -> PullList:
    """The list as `pull_list` makes it from these items."""
    gear_of = {each.gear.id: each.gear for each in program}
    open_items = [each for each in program if each.in_use and each.ticked is None]
    judged = [one for each in open_items for one in used(each.gear, said=each.overruled)]
    spares = [one for each in program if each.state is ItemState.SPARE for one in case(each.gear)]
    rows = {each.gear.id: each for each in decided(judged, spares, LIMITS, TODAY, EVENT)}
    items = {each.gear.id: facts(each) for each in program}
    lines = [_line(each, items, rows) for each in program if each.gear.id in rows or each.ticked]
    actions = {line.item.id: line.action for line in lines if line.done is None}
    broken = reasons_of_broken(gear_of.values(), LIMITS, TODAY)
    unread = cast(Standing, None)
    standings = [
        ItemStanding(items[key], f"C{key.int:05}", one.today, unread, None, True) for key, one in gear_of.items()
    ]
    return PullList(
        cast(Event, SimpleNamespace(id=UUID(int=1000), on=EVENT)),
        JudgedGear(standings, gear_of, LIMITS, {}, {}, {}, Basis(None, EVENT, TODAY, "UTC", LIMITS), {}),
        len(judged),
        lines,
        {each.gear.id: each.state for each in program},
        {each.gear.id for each in program if each.in_use},
        [],
        [],
        {key: piece(one) for key, one in gear_of.items()},
        {},
        {key: actions.get(key) or action_of(reasons) for key, reasons in broken.items()},
    )


def _line(each: Piece, items: Mapping[UUID, ItemFacts], rows: Mapping[UUID, object]) -> PullRow:
    key = each.gear.id
    code = f"C{key.int:05}"
    if each.ticked:
        at = datetime(2026, 10, 1, tzinfo=UTC) - timedelta(days=1)
        done = Ticked(UUID(int=2000 + key.int), key, each.ticked, (), None, "Frame 1", "", 1, at, "Lead")
        return PullRow(items[key], code, None, each.gear.bought_mm, done=done)
    row = rows[key]
    goes_in = items[row.spare] if row.spare else None  # type: ignore[attr-defined]
    return PullRow(items[key], code, row, each.gear.bought_mm, goes_in)  # type: ignore[arg-type]


@settings(max_examples=100, deadline=None)
@given(programs)
def test_nothing_stands_under_buy_and_under_repair(program: tuple[Piece, ...]) -> None:
    pull = pull_of(program)
    advised = advised_items(pull.judged_gear, pull, TODAY, PROGRAM)
    repaired = {each.id for each in advised if each.action is Action.REPAIR_FIRST}
    bought = [line for line in pull.rows if pull.is_bought(line)]
    assert repaired.isdisjoint(line.item.id for line in bought)
    assert sum(pull.shopping.values()) == len(bought)
    assert len({each.id for each in advised}) == len(advised)
    assert {each.id for each in advised if each.in_list} <= {line.item.id for line in bought}
