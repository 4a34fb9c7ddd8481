"""Every look-up about swaps."""

from collections.abc import Collection, Sequence
from datetime import datetime, timedelta
from uuid import UUID

from sqlalchemy import ColumnElement, and_, case, func, or_, select
from sqlalchemy.orm import Session

from service.gear.core import ItemState
from service.gear.models import IS_SUSPECT, Item
from service.gear.queries import ItemFacts, as_facts, facts
from service.season.core import DueState
from service.season.models import ItemDue
from service.swaps.core import YOUNG_DAYS


def is_proven(now: datetime) -> ColumnElement[bool]:
    """Whether what is due of an item says that it may go in as it is: it is current, or passed not long ago."""
    young = and_(ItemDue.state == DueState.DUE, ItemDue.last_passed_at >= now - timedelta(days=YOUNG_DAYS))
    return func.coalesce(or_(ItemDue.state == DueState.CURRENT, young), False)


def proven(db: Session, item_ids: Collection[UUID], now: datetime) -> set[UUID]:
    """Those of these items that may go in as they are."""
    return set(db.scalars(select(ItemDue.item_id).where(ItemDue.item_id.in_(item_ids), is_proven(now))))


def spares_for(db: Session, item: ItemFacts, now: datetime, most: int) -> Sequence[tuple[ItemFacts, bool]]:
    """The spares that fit an item, and whether each is proven: the same kind and wiring, as long or longer, none
    suspect; those that are proven first, the shortest first."""
    sure = case((is_proven(now), 1), else_=0)
    query = (
        facts()
        .add_columns(sure.label("sure"))
        .outerjoin(ItemDue, ItemDue.item_id == Item.id)
        .where(
            Item.state == ItemState.SPARE,
            Item.kind == item.kind,
            Item.wiring == item.wiring,
            Item.length_mm >= item.length_mm,
            Item.id != item.id,
            ~IS_SUSPECT,
        )
    )
    found = db.execute(query.order_by(sure.desc(), Item.length_mm, Item.id).limit(most))
    return [(as_facts(row), bool(row.sure)) for row in found]
