"""What lives at a place."""

from uuid import UUID

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from service.gear.core import ASKED
from service.gear.models import Item, Placement
from service.season.core import DueState
from service.season.models import ItemDue


def ids_at(db: Session, place_id: UUID) -> list[UUID]:
    """The items that live at a place or reach it from another, the retired and lost left out: those that ask for a
    test first, then by kind and length."""
    here = or_(Placement.place_a_id == place_id, Placement.place_b_id == place_id)
    current = ItemDue.state == DueState.CURRENT
    return list(
        db.scalars(
            select(Item.id)
            .join(Placement, (Placement.item_id == Item.id) & Placement.until.is_(None))
            .outerjoin(ItemDue, ItemDue.item_id == Item.id)
            .where(here, Item.state.in_(ASKED))
            .order_by(current.is_(True), Item.kind, Item.length_mm, Item.id)
        )
    )
