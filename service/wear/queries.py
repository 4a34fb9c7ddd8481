"""What wear looks up: every item with its class, its days in service and its history, a few statements in all."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from uuid import UUID

from sqlalchemy import String, cast, func, select
from sqlalchemy.orm import Session

from service.gear.core import FlagKind, ItemState, PlaceKind
from service.gear.models import Flag, Item, Place, Placement, Port, StateChange
from service.season.core import DueState
from service.season.models import ItemSeason, SeasonRow
from service.season.queries import due_rows
from service.store.sessions import chunks, remembered
from service.testlog.core import LogEntry
from service.testlog.history_cache import histories
from service.testlog.queries import hold
from service.wear.core.history import Stretch
from service.wear.models import WearTarget

_MEMBERS = select(ItemSeason.season_id, func.aggregate_strings(cast(ItemSeason.item_id, String), ",")).group_by(
    ItemSeason.season_id
)


@dataclass
class Worn:
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


def per_mille(db: Session) -> int | None:
    """The unavailability that the program aims at, in thousandths, once it was set."""
    row = db.get(WearTarget, 1)
    return row.per_mille if row else None


def at_risk_flags(db: Session) -> Sequence[Flag]:
    """The flags of items at risk that are up."""
    return db.scalars(select(Flag).where(Flag.flag == FlagKind.AT_RISK, Flag.cleared_at.is_(None))).all()


def last_passes(db: Session, item_ids: Iterable[UUID]) -> dict[UUID, datetime]:
    """When each of these last passed, of those in service that have not failed since; they are held from now on."""
    in_use = [item.id for item in hold(db, item_ids) if item.state == ItemState.IN_SERVICE]
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


def worn(db: Session) -> dict[UUID, Worn]:
    """Every item there ever was, with its history in time order."""
    # On PostgreSQL an item may be added between two of these: it has nothing worn yet, and is left out at the end.
    items: dict[UUID, Worn] = defaultdict(lambda: Worn("", "", date.max))
    told = select(Item.id, Item.kind, Item.batch, Item.in_service_on, Item.bought_on)
    for item_id, kind, batch, since, bought_on in db.execute(told):
        items[item_id] = Worn(kind, batch, since, bought_on)
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
    memory = remembered(db, "members of seasons")
    known: tuple[dict[UUID, str], dict[UUID, frozenset[UUID]]] = memory.get("known", ({}, {}))
    if known[0] != told:
        found: dict[str, set[UUID]] = defaultdict(set)
        for season_id, members in told.items():
            for item_id in members.split(","):
                found[item_id].add(season_id)
        known = told, {UUID(item_id): frozenset(seasons) for item_id, seasons in found.items()}
        memory["known"] = known
    return known[1]
