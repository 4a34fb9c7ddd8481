"""What the list to buy looks up besides prices: what waits for a repair."""

from sqlalchemy.orm import Session

from service.gear.core import ItemState
from service.gear.models import Item
from service.gear.queries import ItemFacts, PlaceA, as_facts, facts
from service.season.core import DueState
from service.season.models import ItemDue
from service.tags.models import Tag


def broken(db: Session) -> list[tuple[ItemFacts, str]]:
    """What is quarantined for an open fault, not just swapped out untested, with its code, in walking order."""
    query = (
        facts()
        .add_columns(Tag.code)
        .join(ItemDue, ItemDue.item_id == Item.id)
        .outerjoin(Tag, (Tag.item_id == Item.id) & Tag.until.is_(None))
        .where(Item.state == ItemState.QUARANTINED, ItemDue.state == DueState.BLOCKED)
        .order_by(PlaceA.walk_order.is_(None), PlaceA.walk_order, Tag.code)
    )
    return [(as_facts(row), row[-1] or "") for row in db.execute(query)]
