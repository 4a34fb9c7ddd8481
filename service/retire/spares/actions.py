"""The spares that a trip needs: the failures to be expected by wear, against the spares in the case."""

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
from service.retire.lists.queries import PullList, PullRow
from service.retire.spares.core.coverage import Bought, Stock, Trip, covered
from service.retire.spares.core.kits import Kit, best_within, can_be_enough, cheapest
from service.retire.spares.models import SpareTrip
from service.season.models import Event
from service.store.changes import unless_changed
from service.wear.core.classes import failures_of
from service.wear.core.risk import Chance, reaches
from service.wear.queries import WearRecord, chances, records


@dataclass(frozen=True)
class SpareSort:
    """A sort of spares: the expected failures on the trip, how many are `here`, how many to carry and to add.

    Sorts of one `group` can stand in for one another; `now` and `after` are the chances that the group's spares are
    enough, before and after what is added. `carry` is None if a price is missing.
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
    """The spares for a trip, once the pull list is done.

    `in_use` is how many items are in use then. `failures` is how many failures with use the log has: without any, every
    chance rests on the prior alone. `add` is what to buy within the budget, `least` the cost in cents of having enough,
    None if no purchase is; `exact`: these and what to carry are optimal. `unpriced` are the sorts in use without a
    known price, and `left_out` those of them that no other sort can stand in for. `gaps` are the places for which the
    pull list has no spare and no repair. `by_default`: no lead has set the trip yet.
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
        adds: Counter[Sort] = Counter()
        for row in self.rows:
            adds[row.sort] += row.add
        return adds

    @property
    def wanted(self) -> float:
        """The chance that the program wants."""
        return self.trip.percent / 100

    @property
    def enough_now(self) -> bool:
        """Whether the spares have the wanted chance as they are."""
        return reaches(self.now, self.wanted)

    @property
    def enough(self) -> bool:
        """Whether the spares have the wanted chance with what is added."""
        return reaches(self.after, self.wanted)


@dataclass
class _Group:
    """Items that can stand in for one another but for their length, each as (length, chance), and their sorts.

    The chance of an item in use (`needed`) is that it fails, that of a spare is that it works. `expected` are the
    chances of failure of each sort, `here` counts the spares of each, `cut` has the lengths of spares that were cut.
    """

    shape: Shape
    needed: list[tuple[int, float]] = field(default_factory=list)
    spares: list[tuple[int, float]] = field(default_factory=list)
    expected: dict[Sort, list[float]] = field(default_factory=lambda: defaultdict(list))
    here: Counter[Sort] = field(default_factory=Counter)
    cut: list[int] = field(default_factory=list)

    def stock(self, costs: Mapping[Sort, Price]) -> Stock:
        """The group as `core` takes it."""
        offers = ((sort.length_mm, price.cents) for sort, price in costs.items() if self._holds(sort))
        return Stock(tuple(sorted(self.needed)), tuple(sorted(self.spares)), tuple(sorted(offers)))

    def sorts(self, bought: Iterable[Bought]) -> list[Sort]:
        """The sorts to show, by length; a spare that was cut counts as the longest sort that it is long enough for."""
        kind, wiring, _ = self.shape
        lengths = {length for one in bought for length in one}
        sorts = sorted({*self.expected, *self.here, *(Sort(kind, wiring, length) for length in lengths)}, key=_by_order)
        for length in self.cut:
            reached = [sort for sort in sorts if sort.length_mm <= length]
            if reached:
                self.here[reached[-1]] += 1
        self.cut.clear()
        return sorts

    def _holds(self, sort: Sort) -> bool:
        return (sort.kind, sort.wiring) == self.shape[:2]


def _by_order(sort: Sort) -> tuple[int, str, int]:
    return sort.order


def trip(db: Session) -> Trip:
    """The trip that the program carries spares for; our default if no lead has set it."""
    row = db.get(SpareTrip, 1)
    return Trip(row.days, row.percent, row.budget_cents) if row else Trip()


def set_trip(db: Session, new: Trip, actor: Actor) -> None:
    """Set the trip that the program carries spares for."""
    db.merge(SpareTrip(id=1, **asdict(new)))
    note_in_audit(db, actor.now, actor.who.id, "spares.trip", "what spares are carried for", asdict(new))


def case_for(db: Session, event: Event, today: date, zone: ZoneInfo) -> TripCase:
    """The spares for the trip to an event, once its pull list is done; anew where anything was written since."""
    key = "spares", event.id, today, zone.key
    return unless_changed(
        db, key, lambda: case_of(db, pull_list(db, event, today, zone, whole=True), records(db, zone), today)
    )


def case_of(
    db: Session,
    pull: PullList,
    wear: Mapping[UUID, WearRecord],
    today: date,
    back: Mapping[UUID, float] | None = None,
) -> TripCase:
    """The spares from a pull list of the whole program that was already made.

    `wear` are the records of all items. `back` are the items that will be repaired by then, each with the chance that
    it fails.
    """
    settings = trip(db)
    last_day = pull.event.on + timedelta(days=settings.days - 1)
    groups, in_use = _groups(pull, chances(db, wear, today, max(last_day, today)), back or {})
    failures = failures_of(life for record in wear.values() for life in record.lives)
    return _case(settings, last_day, groups, pull.judged_gear.prices, in_use, failures, pull.shopping, is_default(db))


def is_default(db: Session) -> bool:
    """Whether no lead has set the trip yet, so that it is our default."""
    return db.get(SpareTrip, 1) is None


def _groups(pull: PullList, chance_of: Mapping[UUID, Chance], back: Mapping[UUID, float]) -> tuple[list[_Group], int]:
    """The items in use once the pull list is done and the spares left then, in groups; and how many are in use.

    An item that comes `back` fills its own gap; it is a spare if another went in for it, or if it was one.
    """
    groups: dict[Shape, _Group] = {}
    rows = {row.item.id: row for row in pull.open}
    in_use = 0
    for item_id in sorted(pull.in_use):
        row, piece = rows.get(item_id), pull.pieces[item_id]
        if row and row.comes_out and row.spare is None:
            continue  # a gap, which is bought or repaired before the trip
        in_use += 1
        chance = _fails(item_id, row, chance_of)
        group = groups.setdefault(piece.shape, _Group(piece.shape))
        group.needed.append((piece.length_mm, chance))
        group.expected[_sort(pull, item_id)].append(chance)
    gone = {row.spare.id for row in pull.open if row.spare and row.comes_out}
    waits_for = {row.spare.id: row.item.id for row in pull.open if row.spare and not row.comes_out}
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
    gaps = {row.item.id for row in pull.rows if row.unfilled}
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


def _fails(item_id: UUID, row: PullRow | None, chance_of: Mapping[UUID, Chance]) -> float:
    """The chance that what is in an item's place fails on the trip.

    That is the spare, if one goes in. An item that is tested first can only fail after its test, since it comes out if
    the test finds it bad. An item without a chance has failed already and stays by a lead's decision: 1.
    """
    spare = row.spare if row and row.comes_out else None
    chance = chance_of.get(spare.id if spare else item_id)
    if chance is None:
        return 1.0
    return chance.if_tested if row and row.action is Action.TEST_FIRST else chance.failed


def _found_bad(chance: Chance | None) -> float:
    """The chance that a test today finds an item bad, so that it is replaced, or is no spare any more."""
    if chance is None or chance.if_tested >= 1:
        return 0.0
    return max(0.0, 1 - (1 - chance.failed) / (1 - chance.if_tested))


def _sort(pull: PullList, item_id: UUID) -> Sort:
    gear = pull.judged_gear.gear[item_id]
    return Sort(gear.kind, gear.wiring, gear.bought_mm)


def _sort_key(shape: Shape) -> tuple[object, ...]:
    return (*Sort(shape[0], shape[1], 0).order, shape[2])


def _case(
    settings: Trip,
    last_day: date,
    groups: Sequence[_Group],
    costs: Mapping[Sort, Price],
    in_use: int,
    failures: int,
    gaps: dict[Sort, int],
    by_default: bool,
) -> TripCase:
    wanted, stocks = settings.percent / 100, [group.stock(costs) for group in groups]
    buyable = [at for at, stock in enumerate(stocks) if can_be_enough(stock, wanted)]
    full = cheapest([stocks[at] for at in buyable], wanted)
    kit = full if full and full.cents <= settings.budget_cents else None
    kit = kit or best_within([stocks[at] for at in buyable], settings.budget_cents)
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
        settings,
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
