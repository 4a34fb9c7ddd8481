"""What a trip needs in the case: the failures that wear expects, against the spares that are there."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import date, timedelta
from math import fsum, prod
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.crew.queries import note_in_audit
from service.retire.decisions.core import Action, Price, Sort
from service.retire.lists.actions import pull_list
from service.retire.lists.core import Shape
from service.retire.lists.queries import PullLine, PullList
from service.retire.spares.core.coverage import Bought, Stock, Trip, covered
from service.retire.spares.core.kits import Kit, best_within, can_be_enough, cheapest
from service.retire.spares.models import SpareTrip
from service.season.models import Event
from service.wear.core.classes import failures_of
from service.wear.core.risk import Chance, reaches
from service.wear.queries import chances


@dataclass(frozen=True)
class SpareSort:
    """A sort of spares: how many failures the trip is expected to show, how many are there, to carry and to add.

    `group` is the same for what stands in for one another; `now` and `after` are the chances that its spares are
    enough. `carry` is None where a price is missing.
    """

    group: int
    sort: Sort
    expected: float
    here: int
    carry: int | None
    add: int
    cents: int | None
    now: float
    after: float


@dataclass(frozen=True)
class TripCase:
    """The case for a trip, once the pull list is done.

    `in_use` is how many items are in use then; `failures` is how many failed with use, as far as the log tells: without
    one every chance rests on the prior alone. `add` is what to buy for the money there is, `least` the cents that make
    it enough, None where no purchase does; `exact`: neither these nor what to carry could be better. `unpriced` are the
    sorts in use that no price is known of, and `left_out` those of them that no other can stand in for. `gaps` are what
    the pull list finds nothing for and what comes out does not come back. `by_default`: no lead has set the trip yet.
    """

    trip: Trip
    last_day: date
    rows: list[SpareSort]
    in_use: int
    failures: int
    now: float
    after: float
    add: Kit
    least: int | None
    exact: bool
    unpriced: list[Sort]
    left_out: list[Sort]
    gaps: dict[Sort, int]
    by_default: bool

    @property
    def adds(self) -> dict[Sort, int]:
        """How many of each sort to add."""
        found: Counter[Sort] = Counter()
        for row in self.rows:
            found[row.sort] += row.add
        return found

    @property
    def wanted(self) -> float:
        """The chance that the program wants."""
        return self.trip.percent / 100

    @property
    def enough_now(self) -> bool:
        """Whether it has that chance as it is."""
        return reaches(self.now, self.wanted)

    @property
    def enough(self) -> bool:
        """Whether it has that chance with what is added."""
        return reaches(self.after, self.wanted)


@dataclass
class _Group:
    """What stands in for one another: pieces in use and spares, each (length, chance), and sorts with their failures.

    A chance is that a piece in use fails, and that a spare works. `cut` are the lengths of spares that were cut.
    """

    shape: Shape
    needed: list[tuple[int, float]] = field(default_factory=list)
    spares: list[tuple[int, float]] = field(default_factory=list)
    expected: dict[Sort, list[float]] = field(default_factory=lambda: defaultdict(list))
    here: Counter[Sort] = field(default_factory=Counter)
    cut: list[int] = field(default_factory=list)

    def stock(self, costs: Mapping[Sort, Price]) -> Stock:
        """The same as it is reckoned with."""
        offers = ((sort.length_mm, price.cents) for sort, price in costs.items() if self._holds(sort))
        return Stock(tuple(sorted(self.needed)), tuple(sorted(self.spares)), tuple(sorted(offers)))

    def sorts(self, bought: Iterable[Bought]) -> list[Sort]:
        """What is told of, by length; a spare that was cut counts with the longest of them that it reaches."""
        kind, wiring, _ = self.shape
        lengths = {length for one in bought for length in one}
        found = sorted({*self.expected, *self.here, *(Sort(kind, wiring, length) for length in lengths)}, key=_by_order)
        for length in self.cut:
            reached = [sort for sort in found if sort.length_mm <= length]
            if reached:
                self.here[reached[-1]] += 1
        self.cut.clear()
        return found

    def _holds(self, sort: Sort) -> bool:
        return (sort.kind, sort.wiring) == self.shape[:2]


def _by_order(sort: Sort) -> tuple[int, str, int]:
    return sort.order


def trip(db: Session) -> Trip:
    """The trip that the program carries spares for."""
    row = db.get(SpareTrip, 1)
    return Trip(row.days, row.percent, row.budget_cents) if row else Trip()


def set_trip(db: Session, new: Trip, actor: Actor) -> None:
    """Keep the trip that the program carries spares for."""
    db.merge(SpareTrip(id=1, **asdict(new)))
    note_in_audit(db, actor.now, actor.who.id, "spares.trip", "what spares are carried for", asdict(new))


def case_for(db: Session, event: Event, today: date, zone: ZoneInfo) -> TripCase:
    """What a trip to an event needs, once its pull list is done."""
    return case_of(db, pull_list(db, event, today, zone), today)


def case_of(db: Session, pull: PullList, today: date, back: Mapping[UUID, float] | None = None) -> TripCase:
    """The same, where the pull list is at hand; `back` is what is repaired until then, and the chance that it fails."""
    asked = trip(db)
    last_day = pull.event.on + timedelta(days=asked.days - 1)
    groups, in_use = _groups(pull, chances(pull.judged_gear.wear, today, max(last_day, today)), back or {})
    failures = failures_of(life for record in pull.judged_gear.wear.values() for life in record.lives)
    return _case(asked, last_day, groups, pull.judged_gear.prices, in_use, failures, pull.shopping, is_default(db))


def is_default(db: Session) -> bool:
    """Whether no lead has set the trip yet, so that it is our default."""
    return db.get(SpareTrip, 1) is None


def _groups(pull: PullList, chance_of: Mapping[UUID, Chance], back: Mapping[UUID, float]) -> tuple[list[_Group], int]:
    """What is in use after the list is done and what is left in the case; and how many are in use.

    What comes `back` fills its own gap, or is a spare where something else went in or where it was one.
    """
    groups: dict[Shape, _Group] = {}
    lines = {line.item.id: line for line in pull.open}
    in_use = 0
    for item_id in sorted(pull.in_use):
        line, piece = lines.get(item_id), pull.pieces[item_id]
        if line and line.comes_out and line.spare is None:
            continue  # a gap, which is bought or repaired before the trip
        in_use += 1
        chance = _fails(item_id, line, chance_of)
        group = groups.setdefault(piece.shape, _Group(piece.shape))
        group.needed.append((piece.length_mm, chance))
        group.expected[_sort(pull, item_id)].append(chance)
    gone = {line.spare.id for line in pull.open if line.spare and line.comes_out}
    waits_for = {line.spare.id: line.item.id for line in pull.open if line.spare and not line.comes_out}
    for piece in pull.ready:
        if piece.id in gone:
            continue
        group = groups.setdefault(piece.shape, _Group(piece.shape))
        stays = 1 - _found_bad(chance_of.get(waits_for[piece.id])) if piece.id in waits_for else 1.0
        works = 1 - _found_bad(chance_of.get(piece.id))
        group.spares.append((piece.length_mm, stays * works))
        if piece.length_mm < pull.judged_gear.gear[piece.id].bought_mm:
            group.cut.append(piece.length_mm)
        else:
            group.here[_sort(pull, piece.id)] += 1
    gaps = {line.item.id for line in pull.lines if line.unfilled}
    for item_id, fails in sorted(back.items()):
        piece = pull.pieces[item_id]
        group = groups.setdefault(piece.shape, _Group(piece.shape))
        if item_id in gaps:
            in_use += 1
            group.needed.append((piece.length_mm, fails))
            group.expected[_sort(pull, item_id)].append(fails)
        else:
            group.spares.append((piece.length_mm, 1 - fails))
    return sorted(groups.values(), key=lambda group: _sort_key(group.shape)), in_use


def _fails(item_id: UUID, line: PullLine | None, chance_of: Mapping[UUID, Chance]) -> float:
    """The chance that what is in an item's place on the trip fails there.

    That is the spare, where one goes in; what is tested first fails only by what comes after its test, since what the
    test finds bad is out before the trip. What has no chance has failed already, and stays in by a lead's word: it is
    sure to fail.
    """
    spare = line.spare if line and line.comes_out else None
    chance = chance_of.get(spare.id if spare else item_id)
    if chance is None:
        return 1.0
    return chance.if_tested if line and line.action is Action.TEST_FIRST else chance.failed


def _found_bad(chance: Chance | None) -> float:
    """The chance that a test today finds an item bad: one in use has its spare put in, and a spare is none."""
    if chance is None or chance.if_tested >= 1:
        return 0.0
    return max(0.0, 1 - (1 - chance.failed) / (1 - chance.if_tested))


def _sort(pull: PullList, item_id: UUID) -> Sort:
    gear = pull.judged_gear.gear[item_id]
    return Sort(gear.kind, gear.wiring, gear.bought_mm)


def _sort_key(shape: Shape) -> tuple[object, ...]:
    return (*Sort(shape[0], shape[1], 0).order, shape[2])


def _case(
    asked: Trip,
    last_day: date,
    groups: Sequence[_Group],
    costs: Mapping[Sort, Price],
    in_use: int,
    failures: int,
    gaps: dict[Sort, int],
    by_default: bool,
) -> TripCase:
    wanted, stocks = asked.percent / 100, [group.stock(costs) for group in groups]
    buyable = [at for at, stock in enumerate(stocks) if can_be_enough(stock, wanted)]
    full = cheapest([stocks[at] for at in buyable], wanted)
    kit = full if full and full.cents <= asked.budget_cents else None
    kit = kit or best_within([stocks[at] for at in buyable], asked.budget_cents)
    add: list[Bought] = [{} for _ in stocks]
    for at, bought in zip(buyable, kit.bought, strict=True):
        add[at] = bought
    empty = [replace(stock, spares=()) for stock in stocks]
    known = [at for at, stock in enumerate(empty) if can_be_enough(stock, wanted)]
    carried = cheapest([empty[at] for at in known], wanted)
    carry = dict(zip(known, carried.bought, strict=True)) if carried else {}
    now = [covered(stock) for stock in stocks]
    after = [covered(stock, bought) for stock, bought in zip(stocks, add, strict=True)]
    rows = [
        SpareSort(
            at,
            sort,
            fsum(group.expected.get(sort, ())),
            group.here[sort],
            carry[at].get(sort.length_mm, 0) if at in carry else None,
            add[at].get(sort.length_mm, 0),
            costs[sort].cents if sort in costs else None,
            now[at],
            after[at],
        )
        for at, group in enumerate(groups)
        for sort in group.sorts([add[at], carry.get(at, {})])
    ]
    unpriced = {sort: None for group in groups for sort in group.expected if sort not in costs}
    left_out = {sort: None for at, group in enumerate(groups) for sort in group.expected if at not in buyable}
    return TripCase(
        asked,
        last_day,
        rows,
        in_use,
        failures,
        prod(now),
        prod(after),
        kit,
        full.cents if full and len(buyable) == len(stocks) else None,
        all(each.exact for each in (full, carried, kit) if each),
        sorted(unpriced, key=_by_order),
        sorted((sort for sort in left_out if sort in unpriced), key=_by_order),
        gaps,
        by_default,
    )
