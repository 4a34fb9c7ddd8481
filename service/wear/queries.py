"""What wear looks up, and what it makes of it: records of items, lives by class, the chances that one has failed."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cached_property, lru_cache
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import String, cast, func, select
from sqlalchemy.orm import Session

from service.gear.core import FlagKind, ItemState, PlaceKind, home_state
from service.gear.models import FLAG_IS_OPEN, Flag, Item, Place, Placement, Port, StateChange
from service.gear.wirings import CONNECTOR_NAMES
from service.kit.dates import local_date
from service.season.core import DueState, HistoryEntry, What
from service.season.models import ItemSeason, SeasonRow
from service.season.queries import due_rows
from service.store.sessions import cached, chunks
from service.testlog.core import LogEntry, as_one
from service.testlog.history_cache import histories
from service.testlog.queries import lock_items
from service.wear.core import risk
from service.wear.core.classes import Path
from service.wear.core.lives import DAY, Life, Lived, Stretch, ages, exposed, in_service, lived, merged
from service.wear.core.risk import FIRST, Ages, Chance, KnownItem, Outlook
from service.wear.models import WearTarget

PER_MILLE_USUAL = 10
STRAPPED, FREE = "strapped to a frame", "not strapped"
STEPS_OF_NEW = 3
"""A class has so many steps without a purchase lot, and what is yet to be bought is of none."""

_MEMBERS = select(ItemSeason.season_id, func.aggregate_strings(cast(ItemSeason.item_id, String), ",")).group_by(
    ItemSeason.season_id
)


@dataclass
class WearInput:
    """An item as far as its wear goes: its class, when it was in which state, its seasons and its history."""

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
    """The flags of items at risk that are up."""
    return db.scalars(select(Flag).where(Flag.flag == FlagKind.AT_RISK, FLAG_IS_OPEN)).all()


def last_passes(db: Session, item_ids: Iterable[UUID]) -> dict[UUID, datetime]:
    """When each of these last passed, of those in service that have not failed since; they are held from now on."""
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


def wear_inputs(db: Session) -> dict[UUID, WearInput]:
    """Every item there ever was, with its history in time order."""
    # On PostgreSQL an item may be added between two of these: it has nothing worn yet, and is left out at the end.
    items: dict[UUID, WearInput] = defaultdict(lambda: WearInput("", "", date.max))
    told = select(Item.id, Item.kind, Item.batch, Item.in_service_on, Item.bought_on)
    for item_id, kind, batch, since, bought_on in db.execute(told):
        items[item_id] = WearInput(kind, batch, since, bought_on)
    there = list(items)
    for item_id, connector in db.execute(select(Port.item_id, Port.type).distinct()):
        items[item_id].connectors.add(connector)
    placed = select(Placement.item_id, Place.kind, Placement.strapped).join(Place, Place.id == Placement.place_a_id)
    for item_id, place, strapped in db.execute(placed.order_by(Placement.id)):
        # The last one is where it lives, or lived; a frame straps what nobody said anything else of.
        items[item_id].strapped = place == PlaceKind.FRAME if strapped is None else strapped
    changes = select(StateChange.item_id, StateChange.at, StateChange.to_state)
    for item_id, at, state in db.execute(changes.order_by(StateChange.at, StateChange.id)):
        items[item_id].changes.append((at, ItemState(state)))
    for item_id, answers_to in _seasons_of(db).items():
        items[item_id].seasons = answers_to
    for item_id, history in histories(db).items():
        items[item_id].history = history
    return {item_id: items[item_id] for item_id in there}


def _seasons_of(db: Session) -> dict[UUID, frozenset[UUID]]:
    """The seasons that each item answers to, remembered as long as every season has the same members.

    The database tells those as one text a season, which it makes and we compare far faster than rows are read.
    """
    told = {season_id: members for season_id, members in db.execute(_MEMBERS)}  # noqa: C416  (a row is no pair)
    memory = cached(db, "members of seasons")
    known: tuple[dict[UUID, str], dict[UUID, frozenset[UUID]]] = memory.get("known", ({}, {}))
    if known[0] != told:
        found: dict[str, set[UUID]] = defaultdict(set)
        for season_id, members in told.items():
            for item_id in members.split(","):
                found[item_id].add(season_id)
        known = told, {UUID(item_id): frozenset(seasons) for item_id, seasons in found.items()}
        memory["known"] = known
    return known[1]


def target(db: Session) -> int:
    """The unavailability that the program aims at, in thousandths."""
    row = db.get(WearTarget, 1)
    return row.per_mille if row else PER_MILLE_USUAL


@dataclass(frozen=True)
class WearRecord:
    """An item's class, its history in the order it happened, its exposed days, and whether it is in service now.

    `waits`: it was in service until its fault was found. `season` are the days of its seasons, `since` is the day from
    which it is there. `came_good`: it was new when it came into service, as far as is told.
    """

    path: Path
    history: list[HistoryEntry]
    exposure: list[Stretch]
    in_use: bool
    came_good: bool
    waits: bool = False
    season: Sequence[Stretch] = ()
    since: date = date.min

    @property
    def lives(self) -> tuple[Life, ...]:
        """Its lives so far."""
        return self._lived.lives

    @cached_property
    def passed_on(self) -> date | None:
        """The day of its last pass since it was new or last repaired."""
        last = next((entry for entry in reversed(self.history) if entry.what in (What.PASS, What.REPAIR)), None)
        return last.on if last and last.what is What.PASS else None

    def ages(self, today: date, day: date) -> Ages | None:
        """How old it is in the life it is in, at its last pass and on two days; None once it has failed.

        What is not in service now is taken to be put in today, so that it ages until the day as what is in use does.
        """
        life = self._lived.current
        if life is None:
            return None
        exposure = self.exposure
        if not self.in_use and today < day:
            exposure = [*exposure, *exposed(self.season, [(today + DAY, date.max)])]
        return Ages(*ages(life, exposure, today, day))

    @cached_property
    def _lived(self) -> Lived:
        return lived(self.history, self.exposure, came_good=self.came_good)


def records(db: Session, zone: ZoneInfo) -> dict[UUID, WearRecord]:
    """Every item there ever was, as wear sees it.

    An item's record is cached, and made again only when something that it is made of has changed.
    """
    seasons, memory = season_days(db), cached(db, "wear records")
    days: dict[frozenset[UUID], list[Stretch]] = {}
    found = {}
    for item_id, item in wear_inputs(db).items():
        if item.seasons not in days:
            days[item.seasons] = merged(seasons[season] for season in item.seasons)
        of_class = (item.kind, item.connectors, item.strapped, item.batch)
        since = item.in_service_on, item.bought_on
        made_of = (of_class, since, item.changes, days[item.seasons], zone)
        kept = memory.get(item_id)
        if kept is None or kept[0] is not item.history or kept[1] != made_of:
            kept = memory[item_id] = item.history, made_of, _record(item, days[item.seasons], zone)
        found[item_id] = kept[2]
    return found


def _record(item: WearInput, seasons: Sequence[Stretch], zone: ZoneInfo) -> WearRecord:
    changes = [(local_date(at, zone), state) for at, state in item.changes]
    history = [_entry(local_date(event.at, zone), event.what) for event in as_one(item.history)]
    exposure = exposed(seasons, in_service(item.in_service_on, changes))
    states = [state for _, state in changes]
    state = states[-1] if states else None
    waits = state in (ItemState.QUARANTINED, ItemState.IN_REPAIR) and home_state(states) is ItemState.IN_SERVICE
    # What was entered as in service from that very day, and of which no purchase is told, may be of any age.
    came_good = item.bought_on is not None or not changes or item.in_service_on < changes[0][0]
    in_use, since = state is ItemState.IN_SERVICE, item.in_service_on
    return WearRecord(path_of(item), history, exposure, in_use, came_good, waits, seasons, since)


@lru_cache(maxsize=20_000)
def _entry(on: date, what: What) -> HistoryEntry:
    """One and the same of all that happened on a day: a long log has few days, and records are kept."""
    return HistoryEntry(on, what)


def lives_by_class(items: Iterable[WearRecord]) -> dict[Path, list[Life]]:
    """The lives of every class that has items of its own."""
    found: dict[Path, list[Life]] = defaultdict(list)
    for item in items:
        found[item.path] += item.lives
    return found


def chances(items: Mapping[UUID, WearRecord], today: date, day: date) -> Mapping[UUID, Chance]:
    """Of every item that has not failed: the chance that it has by `day`, as it is and if it passes today."""
    return _chances(
        tuple((item_id, KnownItem(item.path, item.lives, item.ages(today, day))) for item_id, item in items.items())
    )


@lru_cache(maxsize=8)
def _chances(known: tuple[tuple[UUID, KnownItem], ...]) -> Mapping[UUID, Chance]:
    """The same of what is known of each item, remembered: between two tests nothing changes."""
    return risk.chances(dict(known))


def risks(db: Session, zone: ZoneInfo, today: date) -> dict[UUID, float]:
    """The chance that an item which was good at its last test has failed since, by the day that is given."""
    return failed_by(records(db, zone), today)


def failed_by(items: Mapping[UUID, WearRecord], day: date) -> dict[UUID, float]:
    """The same, where the records are at hand."""
    return {item_id: chance.failed for item_id, chance in chances(items, day, day).items()}


@dataclass(frozen=True, slots=True)
class Renewed:
    """What is to be expected of an item that is as good as new: the chance that it fails by a first day and by a last
    one, and how often it fails by the last on average if each failure is repaired at once.
    """

    fails_first: float
    fails: float
    failures: float


def renewed(
    items: Mapping[UUID, WearRecord], item_ids: Iterable[UUID], first: int, last: int
) -> dict[UUID, tuple[Renewed, Renewed]]:
    """What is to be expected of each of these, repaired today, and of a new one in its place, in exposure days."""
    ids = tuple(sorted(item_ids))
    known = tuple((item.path, item.lives) for item in items.values())
    pieces = tuple((items[item_id].path, items[item_id].lives) for item_id in ids)
    return dict(zip(ids, _renewed(known, pieces, first, last), strict=True)) if ids else {}


Known = tuple[tuple[Path, tuple[Life, ...]], ...]
"""The class and the lives of items."""


@lru_cache(maxsize=4)
def _renewed(known: Known, pieces: Known, first: int, last: int) -> list[tuple[Renewed, Renewed]]:
    """The same of what is known of each item, remembered: between two tests nothing changes."""
    from service.wear.core.pooling import renewed  # numpy would slow the start of every command

    new = tuple((path[:STEPS_OF_NEW], ()) for path, _ in pieces)
    expected = [
        Renewed(sooner, later, failures)
        for (sooner, later), failures in renewed(known, (*pieces, *new), [float(first), float(last)])
    ]
    return list(zip(expected[: len(pieces)], expected[len(pieces) :], strict=True))


def in_use(
    items: Mapping[UUID, WearRecord], chances: Mapping[UUID, Chance], day: date
) -> tuple[list[UUID], list[UUID]]:
    """What is in service by a day of these chances; and what failed and has not passed since, still there or not."""
    there = {item_id: item for item_id, item in items.items() if item.since <= day}
    bad = [item_id for item_id, item in there.items() if item.waits or (item.in_use and item_id not in chances)]
    return [item_id for item_id, item in there.items() if item.in_use and item_id in chances], bad


def outlook(items: Mapping[UUID, WearRecord], chances: Mapping[UUID, Chance], day: date, most: int = FIRST) -> Outlook:
    """How the day of these chances looks for what is in service, and which tests would help it most."""
    known, bad = in_use(items, chances, day)
    return risk.outlook({item_id: chances[item_id] for item_id in known}, len(bad), most)


def path_of(item: WearInput) -> Path:
    """The class of an item, from the widest on; a purchase lot only where it has one."""
    connectors = " and ".join(sorted(CONNECTOR_NAMES.get(name, name) for name in item.connectors))
    path = item.kind, connectors, STRAPPED if item.strapped else FREE
    return (*path, item.batch) if item.batch else path
