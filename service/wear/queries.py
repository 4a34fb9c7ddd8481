"""Look-ups of wear, and what is computed from them: records of items, lives by class, chances of failure."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, TypeVarTuple
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import Select, String, cast, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from service.gear.core import FlagKind, ItemState, PlaceKind, home_state
from service.gear.models import FLAG_IS_OPEN, Flag, Item, Place, Placement, Port, StateChange
from service.gear.wirings import CONNECTOR_NAMES
from service.kit.dates import local_date
from service.season.core import DueState, HistoryEntry, What
from service.season.models import ItemDue, ItemSeason, SeasonRow
from service.season.queries import due_rows
from service.store.sessions import cached, chunks
from service.testlog.core import LogEntry, as_one
from service.testlog.queries import events, histories, lock_items
from service.wear.core import risk
from service.wear.core.classes import Path
from service.wear.core.lives import DAY, ItemLives, Life, Stretch, ages, exposed, in_service, item_lives, merged
from service.wear.core.risk import FIRST, Ages, Chance, KnownItem, Outlook
from service.wear.fits import fit_of
from service.wear.models import WearTarget

if TYPE_CHECKING:
    from service.wear.core.pooling import KnownLives  # numpy would slow the start of every command

Ts = TypeVarTuple("Ts")
PER_MILLE_USUAL = 10
FEW = 400
"""The log of so many items is read by itself; where more changed, the whole log is, of which most is cached."""
STRAPPED, FREE = "strapped to a frame", "not strapped"
STEPS_OF_NEW = 3
"""Steps of a class path without the purchase lot; an item yet to be bought has no lot."""

_MEMBERS = select(ItemSeason.season_id, func.aggregate_strings(cast(ItemSeason.item_id, String), ",")).group_by(
    ItemSeason.season_id
)


@dataclass
class WearInput:
    """What wear needs to know about an item: its class, its changes of state, its seasons and its history."""

    kind: str
    batch: str
    in_service_on: date
    bought_on: date | None = None
    connectors: set[str] = field(default_factory=set)
    strapped: bool = False
    changes: list[tuple[datetime, ItemState]] = field(default_factory=list)
    seasons: frozenset[UUID] = frozenset()
    history: Sequence[LogEntry] = ()


def at_risk_flags(db: Session) -> Sequence[Flag]:
    """The open flags of items at risk."""
    return db.scalars(select(Flag).where(Flag.flag == FlagKind.AT_RISK, FLAG_IS_OPEN)).all()


def last_passes(db: Session, item_ids: Iterable[UUID]) -> dict[UUID, datetime]:
    """When each of these items last passed, of those in service that have not failed since. Locks their rows."""
    in_use = [item.id for item in lock_items(db, item_ids) if item.state == ItemState.IN_SERVICE]
    return {
        item_id: row.last_passed_at
        for ids in chunks(in_use)
        for item_id, row in due_rows(db, ids).items()
        if row.last_passed_at is not None and row.state != DueState.BLOCKED
    }


def season_days(db: Session) -> dict[UUID, Stretch]:
    """The days of every season, half-open."""
    rows = db.execute(select(SeasonRow.id, SeasonRow.starts, SeasonRow.ends))
    return {season_id: (starts, ends + timedelta(days=1)) for season_id, starts, ends in rows}


def wear_inputs(db: Session, only: Collection[UUID] | None = None) -> dict[UUID, WearInput]:
    """Every item there ever was, or `only` these few, with its history in time order."""

    def of(query: Select[*Ts], item_id: InstrumentedAttribute[UUID]) -> Select[*Ts]:
        return query if only is None else query.where(item_id.in_(only))

    # On PostgreSQL an item may be added between two of these queries: it has no wear yet, and is left out at the end.
    items: dict[UUID, WearInput] = defaultdict(lambda: WearInput("", "", date.max))
    of_items = select(Item.id, Item.kind, Item.batch, Item.in_service_on, Item.bought_on)
    for item_id, kind, batch, since, bought_on in db.execute(of(of_items, Item.id)):
        items[item_id] = WearInput(kind, batch, since, bought_on)
    there = list(items)
    for item_id, connector in db.execute(of(select(Port.item_id, Port.type).distinct(), Port.item_id)):
        items[item_id].connectors.add(connector)
    placed = select(Placement.item_id, Place.kind, Placement.strapped).join(Place, Place.id == Placement.place_a_id)
    for item_id, place, strapped in db.execute(of(placed, Placement.item_id).order_by(Placement.id)):
        # The last placement counts. On a frame an item is strapped unless somebody entered otherwise.
        items[item_id].strapped = place == PlaceKind.FRAME if strapped is None else strapped
    changes = select(StateChange.item_id, StateChange.at, StateChange.to_state)
    for item_id, at, state in db.execute(of(changes, StateChange.item_id).order_by(StateChange.at, StateChange.id)):
        items[item_id].changes.append((at, ItemState(state)))
    for item_id, answers_to in (_seasons_of(db) if only is None else _seasons_of_few(db, only)).items():
        items[item_id].seasons = answers_to
    for item_id, history in (histories(db) if only is None else events(db, only)).items():
        items[item_id].history = history
    return {item_id: items[item_id] for item_id in there}


def _seasons_of(db: Session) -> dict[UUID, frozenset[UUID]]:
    """The seasons that each item belongs to, cached as long as every season has the same members.

    The members of a season are read as one concatenated string, which is much faster than reading and comparing rows.
    """
    texts = {season_id: members for season_id, members in db.execute(_MEMBERS)}  # noqa: C416  (a row is no pair)
    memory = cached(db, "members of seasons")
    known: tuple[dict[UUID, str], dict[UUID, frozenset[UUID]]] = memory.get("known", ({}, {}))
    if known[0] != texts:
        seasons_of: dict[str, set[UUID]] = defaultdict(set)
        for season_id, members in texts.items():
            for item_id in members.split(","):
                seasons_of[item_id].add(season_id)
        known = texts, {UUID(item_id): frozenset(seasons) for item_id, seasons in seasons_of.items()}
        memory["known"] = known
    return known[1]


def _seasons_of_few(db: Session, item_ids: Collection[UUID]) -> dict[UUID, frozenset[UUID]]:
    seasons_of: dict[UUID, set[UUID]] = defaultdict(set)
    query = select(ItemSeason.item_id, ItemSeason.season_id).where(ItemSeason.item_id.in_(item_ids))
    for item_id, season_id in db.execute(query):
        seasons_of[item_id].add(season_id)
    return {item_id: frozenset(seasons) for item_id, seasons in seasons_of.items()}


def target(db: Session) -> int:
    """The program's target for unavailability, in thousandths."""
    row = db.get(WearTarget, 1)
    return row.per_mille if row else PER_MILLE_USUAL


_DAYS = 8
"""For so many pairs of days a record remembers its ages."""


@dataclass(frozen=True)
class WearRecord:
    """An item's class, its history in time order, its exposure days, and whether it is in service now.

    `waits`: it was in service until a test found its fault. `season` are the days of its seasons, `since` the day it
    came into service. `came_good`: as far as is known, it was new then.
    """

    path: Path
    history: list[HistoryEntry]
    exposure: list[Stretch]
    in_use: bool
    came_good: bool
    waits: bool = False
    season: Sequence[Stretch] = ()
    since: date = date.min
    _ages: dict[tuple[date, date], Ages] = field(default_factory=dict, compare=False, repr=False)

    @property
    def lives(self) -> tuple[Life, ...]:
        """Its lives so far, in exposure days."""
        return self._item_lives.lives

    @cached_property
    def passed_on(self) -> date | None:
        """The day of its last pass since it was new or last repaired; None if there was none."""
        last = next((entry for entry in reversed(self.history) if entry.what in (What.PASS, What.REPAIR)), None)
        return last.on if last and last.what is What.PASS else None

    def ages(self, today: date, day: date) -> Ages | None:
        """Its age in its current life, at its last pass and on two days; None once it has failed.

        An item that is not in service is assumed to be put into service today, so it ages from then on.
        """
        if self._item_lives.current is None:
            return None
        known = self._ages.get((today, day))
        if known is None:
            if len(self._ages) >= _DAYS:
                self._ages.clear()
            known = self._ages[today, day] = self._ages_on(self._item_lives.current, today, day)
        return known

    def _ages_on(self, life: tuple[int, int], today: date, day: date) -> Ages:
        exposure = self.exposure
        if not self.in_use and today < day:
            exposure = [*exposure, *exposed(self.season, [(today + DAY, date.max)])]
        return Ages(*ages(life, exposure, today, day))

    @cached_property
    def _item_lives(self) -> ItemLives:
        return item_lives(self.history, self.exposure, came_good=self.came_good)


def records(db: Session, zone: ZoneInfo, only: Collection[UUID] | None = None) -> dict[UUID, WearRecord]:
    """The wear record of every item there ever was, or of `only` these few.

    A record is cached, and made again only where something was written about its item or the days of seasons changed.
    """
    seasons, memory = season_days(db), cached(db, "wear records")
    rests_on = _rests_on(db, zone, seasons, only)
    kept: dict[UUID, tuple[object, WearRecord]] = {
        item_id: entry
        for item_id, now in rests_on.items()
        if (entry := memory.get(item_id)) is not None and entry[0] == now
    }
    changed = rests_on.keys() - kept.keys()
    if changed:
        days: dict[frozenset[UUID], list[Stretch]] = {}
        for item_id, item in wear_inputs(db, changed if len(changed) <= FEW else None).items():
            if item.seasons not in days:
                days[item.seasons] = merged(seasons[season] for season in item.seasons)
            if item_id in changed:
                kept[item_id] = rests_on[item_id], _record(item, days[item.seasons], zone)
        memory.update({item_id: kept[item_id] for item_id in changed & kept.keys()})
    return {item_id: kept[item_id][1] for item_id in rests_on if item_id in kept}


def _rests_on(
    db: Session, zone: ZoneInfo, seasons: Mapping[UUID, Stretch], only: Collection[UUID] | None
) -> dict[UUID, object]:
    """For each item what its record changes with, and is cached under."""
    query = select(Item.id, Item.revision, Item.state)
    rows = db.execute(query if only is None else query.where(Item.id.in_(only))).all()
    answers_to = _seasons_of(db) if only is None else _seasons_of_few(db, only)
    days = {of: (of, zone, tuple(sorted(seasons[season] for season in of))) for of in {*answers_to.values()}}
    return {
        item_id: (revision, state, days[answers_to[item_id]] if item_id in answers_to else zone)
        for item_id, revision, state in rows
    }


def _record(item: WearInput, seasons: Sequence[Stretch], zone: ZoneInfo) -> WearRecord:
    changes = [(local_date(at, zone), state) for at, state in item.changes]
    history = [_entry(local_date(event.at, zone), event.what) for event in as_one(item.history)]
    exposure = exposed(seasons, in_service(item.in_service_on, changes))
    states = [state for _, state in changes]
    state = states[-1] if states else None
    waits = state in (ItemState.QUARANTINED, ItemState.IN_REPAIR) and home_state(states) is ItemState.IN_SERVICE
    # An item entered as in service from the day of the entry, with no purchase date, may be of any age.
    came_good = item.bought_on is not None or not changes or item.in_service_on < changes[0][0]
    in_use, since = state is ItemState.IN_SERVICE, item.in_service_on
    return WearRecord(path_of(item), history, exposure, in_use, came_good, waits, seasons, since)


@lru_cache(maxsize=20_000)
def _entry(on: date, what: What) -> HistoryEntry:
    """An entry, shared by all equal ones: a long log has few days, and cached records would repeat them."""
    return HistoryEntry(on, what)


def lives_by_class(items: Iterable[tuple[Path, tuple[Life, ...]]]) -> dict[Path, list[Life]]:
    """The lives of every class that has items of its own, from the class and the lives of each item."""
    lives_of: dict[Path, list[Life]] = defaultdict(list)
    for path, lives in items:
        lives_of[path] += lives
    return lives_of


def chances(db: Session, items: Mapping[UUID, WearRecord], today: date, day: date) -> Mapping[UUID, Chance]:
    """For every item not known to have failed: the chance that it fails by `day`, untested and if it passes today.

    Under the stored fit, with what each item showed since.
    """
    known = {item_id: KnownItem(item.path, item.lives, item.ages(today, day)) for item_id, item in items.items()}
    return risk.chances(known, fit_of(db, known_lives(items)))


def known_lives(items: Mapping[UUID, WearRecord]) -> "dict[UUID, KnownLives]":
    """The class and the lives of each item."""
    return {item_id: (item.path, item.lives) for item_id, item in items.items()}


def risks(db: Session, zone: ZoneInfo, today: date) -> dict[UUID, float]:
    """For each item not known to have failed: the chance that it has failed by `today` since its last pass."""
    return failed_by(db, records(db, zone), today)


def failed_by(db: Session, items: Mapping[UUID, WearRecord], day: date) -> dict[UUID, float]:
    """The chances of `risks` by `day`, from records that were already loaded."""
    return {item_id: chance.failed for item_id, chance in chances(db, items, day, day).items()}


@dataclass(frozen=True, slots=True)
class ExpectedFailures:
    """The expected failures of an item: the chance that it fails by a first day and by a last day, and the mean number
    of failures by the last day if each is repaired at once.
    """

    fails_first: float
    fails: float
    failures: float


def renewed(
    db: Session, known: "Mapping[UUID, KnownLives]", item_ids: Iterable[UUID], first: int, last: int
) -> dict[UUID, tuple[ExpectedFailures, ExpectedFailures]]:
    """The expected failures of each of these items if it is repaired today, and of a new one in its place.

    `first` and `last` are in exposure days from today. `known` has the class and the lives of these items, of all
    where no fit is stored.
    """
    ids = sorted(item_ids)
    if not ids:
        return {}
    from service.wear.core.program_fit import Piece  # numpy would slow the start of every command

    fit = fit_of(db, known)
    pieces = [fit.piece(item_id, *known[item_id]) for item_id in ids]
    new = [Piece(piece.path[:STEPS_OF_NEW], ()) for piece in pieces]
    expected = [
        ExpectedFailures(sooner, later, failures)
        for (sooner, later), failures in fit.renewed([*pieces, *new], [float(first), float(last)])
    ]
    return dict(zip(ids, zip(expected[: len(ids)], expected[len(ids) :], strict=True), strict=True))


def as_it_is(
    db: Session, items: Mapping[UUID, WearRecord], item_id: UUID, today: date, days: int
) -> tuple[float, float] | None:
    """The chance that an item that is left as it is fails within so many exposure days from today, and the mean number
    of failures by then if each is repaired at once; None once it has failed.
    """
    record = items[item_id]
    ages = record.ages(today, today)
    if ages is None:
        return None
    fit = fit_of(db, known_lives(items))
    return fit.as_it_is(fit.piece(item_id, record.path, record.lives), ages.passed, ages.today, float(days))


def in_use(
    items: Mapping[UUID, WearRecord], chances: Mapping[UUID, Chance], day: date
) -> tuple[list[UUID], list[UUID]]:
    """The items in service by `day` that have a chance; and those with a failure not yet followed by a pass."""
    there = {item_id: item for item_id, item in items.items() if item.since <= day}
    bad = [item_id for item_id, item in there.items() if item.waits or (item.in_use and item_id not in chances)]
    return [item_id for item_id, item in there.items() if item.in_use and item_id in chances], bad


def outlook(
    items: Mapping[UUID, WearRecord],
    chances: Mapping[UUID, Chance],
    day: date,
    most: int = FIRST,
    doubted: Collection[UUID] = (),
) -> Outlook:
    """The chance that everything in service works on the day of `chances`, and the `most` tests to do first."""
    known, bad = in_use(items, chances, day)
    return risk.outlook({item_id: chances[item_id] for item_id in known}, len(bad), most, doubted)


def doubted(db: Session) -> set[UUID]:
    """The items that are suspect, or have not passed since they were repaired or failed together with others."""
    suspect = select(Flag.item_id).where(Flag.flag == FlagKind.SUSPECT, FLAG_IS_OPEN)
    return {*db.scalars(suspect), *db.scalars(select(ItemDue.item_id).where(ItemDue.state == DueState.BLOCKED))}


def path_of(item: WearInput) -> Path:
    """The class of an item, from wide to narrow; with a purchase lot only if it has one."""
    connectors = " and ".join(sorted(CONNECTOR_NAMES.get(name, name) for name in item.connectors))
    path = item.kind, connectors, STRAPPED if item.strapped else FREE
    return (*path, item.batch) if item.batch else path
