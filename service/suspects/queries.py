"""Every look-up about what crackled."""

from uuid import UUID

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from service.gear.core import USABLE, FlagKind
from service.gear.models import Flag, Item, Placement
from service.gear.queries import ItemFacts, as_facts, facts


def in_use_at(db: Session, place_id: UUID) -> list[tuple[ItemFacts, bool]]:
    """What may be plugged in and lives at a place, or reaches it; and whether somebody called it suspect before."""
    suspect = select(Flag.id).where(Flag.item_id == Item.id, Flag.flag == FlagKind.SUSPECT, Flag.cleared_at.is_(None))
    query = (
        facts()
        .add_columns(suspect.exists())
        .where(or_(Placement.place_a_id == place_id, Placement.place_b_id == place_id), Item.state.in_(USABLE))
        .order_by(Item.kind, Item.length_mm, Item.label, Item.id)
    )
    return [(as_facts(row), bool(row[-1])) for row in db.execute(query)]
