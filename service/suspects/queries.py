"""Every look-up about what crackled."""

from uuid import UUID

from sqlalchemy import or_
from sqlalchemy.orm import Session

from service.gear.models import IS_SUSPECT, ITEM_IS_USABLE, Item, Placement
from service.gear.queries import ItemFacts, as_facts, facts


def in_use_at(db: Session, place_id: UUID) -> list[tuple[ItemFacts, bool]]:
    """What may be plugged in and lives at a place, or reaches it; and whether somebody called it suspect before."""
    query = (
        facts()
        .add_columns(IS_SUSPECT.label("suspect"))
        .where(or_(Placement.place_a_id == place_id, Placement.place_b_id == place_id), ITEM_IS_USABLE)
        .order_by(Item.kind, Item.length_mm, Item.label, Item.id)
    )
    return [(as_facts(row), bool(row.suspect)) for row in db.execute(query)]
