"""What wear looks up: every item with its class, its days in service and its history, a few statements in all."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from uuid import UUID

from sqlalchemy import exists, select
from sqlalchemy.orm import Session, aliased

from service.gear.core import FlagKind, ItemState, PlaceKind
from service.gear.models import Flag, Item, Place, Placement, Port, StateChange
from service.season.core import DueState, What
from service.season.models import ItemSeason, SeasonRow
from service.season.queries import due_rows
from service.testlog.core import Event, Verdict, what_of
from service.testlog.models import Repair, Test, TestItem, Void
from service.testlog.queries import chunks, hold
from service.wear.core.history import Stretch
from service.wear.models import WearTarget


@dataclass
class Worn:
    """An item as far as its wear goes: its class, when it was in which state, its seasons and its history."""

    kind: str
    batch: str
    in_service_on: date
    connectors: set[str] = field(default_factory=set)
    strapped: bool = False
    changes: list[tuple[datetime, ItemState]] = field(default_factory=list)
    seasons: set[UUID] = field(default_factory=set)
    history: list[Event] = field(default_factory=list)


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
    """Every item there ever was, with its history in no order."""
    items = {
        item_id: Worn(kind, batch, since)
        for item_id, kind, batch, since in db.execute(
            select(Item.id, Item.kind, Item.batch, Item.in_service_on)
        )
    }
    for item_id, connector in db.execute(select(Port.item_id, Port.type).distinct()):
        items[item_id].connectors.add(connector)
    placed = select(Placement.item_id, Place.kind).join(Place, Place.id == Placement.place_a_id)
    for item_id, place in db.execute(placed.order_by(Placement.id)):
        items[item_id].strapped = place == PlaceKind.FRAME  # the last one is where it lives, or lived
    changes = select(StateChange.item_id, StateChange.at, StateChange.to_state)
    for item_id, at, state in db.execute(changes.order_by(StateChange.at, StateChange.id)):
        items[item_id].changes.append((at, ItemState(state)))
    for item_id, season_id in db.execute(select(ItemSeason.item_id, ItemSeason.season_id)):
        items[item_id].seasons.add(season_id)
    _histories(db, items)
    return items


def _histories(db: Session, items: dict[UUID, Worn]) -> None:
    """Tests that stand and repairs; a partial test proves nothing, so it is left out at once."""
    other = aliased(TestItem)
    through = exists().where(other.test_id == TestItem.test_id, other.item_id != TestItem.item_id)
    tests = db.execute(
        select(TestItem.item_id, Test.tested_at, Test.verdict, through)
        .join(Test, Test.id == TestItem.test_id)
        .outerjoin(Void, Void.test_id == Test.id)
        .where(Void.test_id.is_(None), Test.verdict != Verdict.PARTIAL)
    )
    found: dict[UUID, list[Event]] = defaultdict(list)
    # By which entry an event came is nothing to wear, and thousands of ids take long to read: the item's stands for it.
    for item_id, at, verdict, several in tests:
        found[item_id].append(Event(at, what_of(Verdict(verdict), not several), item_id, not several))
    for item_id, at in db.execute(select(Repair.item_id, Repair.at)):
        found[item_id].append(Event(at, What.REPAIR, item_id))
    for item_id, history in found.items():
        items[item_id].history = history
