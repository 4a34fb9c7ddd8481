"""Queries for what is kept at a place, and what else uses it."""

from collections.abc import Sequence
from uuid import UUID

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from service.gear.models import IS_PRESENT_PLACEMENT, ITEM_IS_ASKED, Item, Placement
from service.season.core import DueState
from service.season.models import ItemDue
from service.tags.models import TAG_IN_USE, Tag
from service.testlog.models import SESSION_IS_OPEN, WorkSession


def ids_at(db: Session, place_id: UUID) -> list[UUID]:
    """The items that are kept at a place or reach it from another one, without retired and lost ones: those that need a
    test first, then by kind and length."""
    here = or_(Placement.place_a_id == place_id, Placement.place_b_id == place_id)
    current = ItemDue.state == DueState.CURRENT
    return list(
        db.scalars(
            select(Item.id)
            .join(Placement, (Placement.item_id == Item.id) & IS_PRESENT_PLACEMENT)
            .outerjoin(ItemDue, ItemDue.item_id == Item.id)
            .where(here, ITEM_IS_ASKED)
            .order_by(current.is_(True), Item.kind, Item.length_mm, Item.id)
        )
    )


def codes_at(db: Session, place_id: UUID) -> Sequence[str]:
    """The codes of all items that are kept at a place or reach it from another one, in any state."""
    here = or_(Placement.place_a_id == place_id, Placement.place_b_id == place_id)
    return db.scalars(
        select(Tag.code)
        .join(Placement, (Placement.item_id == Tag.item_id) & IS_PRESENT_PLACEMENT)
        .where(here, TAG_IN_USE)
        .order_by(Tag.code)
    ).all()


def open_sessions_at(db: Session, place_id: UUID) -> Sequence[str]:
    """The titles of the sessions at a place that are not closed yet."""
    query = select(WorkSession.title).where(WorkSession.place_id == place_id, SESSION_IS_OPEN)
    return db.scalars(query.order_by(WorkSession.on, WorkSession.title)).all()
