"""What a pull list looks up: the items that may be in use at an event, and the spares."""

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from sqlalchemy import and_, or_, select
from sqlalchemy.orm import Session

from service.gear.core import USABLE, FlagKind, ItemState
from service.gear.models import Flag, Item, StateChange
from service.gear.queries import ItemFacts, PlaceA, as_facts, facts
from service.season.core import Due, DueState
from service.season.models import ItemDue
from service.tags.models import Tag


@dataclass(frozen=True)
class Asked:
    """An item that may be in use or go in as a spare: its cached due state, and the day until which that holds."""

    item: ItemFacts
    code: str
    due: Due
    changes_on: date | None


def asked(db: Session, on: date) -> list[Asked]:
    """What is in service or spare by `on`, and what was in service until its fault was found; in walking order."""
    waiting = Item.state.in_((ItemState.QUARANTINED, ItemState.IN_REPAIR))
    home = (
        select(StateChange.to_state)
        .where(StateChange.item_id == Item.id, StateChange.to_state.in_(USABLE))
        .order_by(StateChange.id.desc())
        .limit(1)
        .scalar_subquery()
    )
    query = (
        facts()
        .add_columns(Tag.code, ItemDue.state, ItemDue.due_by, ItemDue.round, ItemDue.changes_on)
        .outerjoin(Tag, (Tag.item_id == Item.id) & Tag.until.is_(None))
        .join(ItemDue, ItemDue.item_id == Item.id)
        .where(
            Item.in_service_on <= on, or_(Item.state.in_(USABLE), and_(waiting, home == ItemState.IN_SERVICE))
        )
        .order_by(
            PlaceA.walk_order.is_(None), PlaceA.walk_order, PlaceA.name, Item.label, Item.length_mm, Tag.code
        )
    )
    return [
        Asked(as_facts(row), row[-5] or "", Due(DueState(row[-4]), row[-3], row[-2]), row[-1])
        for row in db.execute(query)
    ]


def suspects(db: Session) -> dict[UUID, str]:
    """What was said of each item that is suspected now."""
    query = select(Flag.item_id, Flag.note).where(Flag.flag == FlagKind.SUSPECT, Flag.cleared_at.is_(None))
    return {row.item_id: row.note for row in db.execute(query.order_by(Flag.id))}
