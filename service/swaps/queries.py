"""Every look-up about swaps."""

from collections.abc import Collection, Sequence
from datetime import date
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.gear.core import ItemState
from service.gear.models import IS_SUSPECT, Item
from service.gear.queries import ItemFacts, as_facts, facts
from service.kit.dates import local_date
from service.season.core import DueState, is_ready
from service.season.models import ItemDue
from service.swaps.core import SPARE_DAYS
from service.swaps.models import PullLimits


def ready(db: Session, item_ids: Collection[UUID], today: date, zone: ZoneInfo) -> set[UUID]:
    """Those of these items that may go in today as they are, by the program's days for a spare."""
    row = db.get(PullLimits, 1)
    days = row.spare_days if row else SPARE_DAYS
    query = select(ItemDue.item_id, ItemDue.state, ItemDue.last_passed_at).where(ItemDue.item_id.in_(item_ids))
    return {
        item_id
        for item_id, state, at in db.execute(query)
        if is_ready(DueState(state), local_date(at, zone) if at else None, today, days)
    }


def spares_for(
    db: Session, item: ItemFacts, today: date, zone: ZoneInfo, most: int
) -> Sequence[tuple[ItemFacts, bool]]:
    """The spares that fit an item, and whether each is ready: the same kind and wiring, as long or longer, none
    suspect; those that are ready first, the shortest first."""
    query = facts().where(
        Item.state == ItemState.SPARE,
        Item.kind == item.kind,
        Item.wiring == item.wiring,
        Item.length_mm >= item.length_mm,
        Item.id != item.id,
        ~IS_SUSPECT,
    )
    fitting = [as_facts(row) for row in db.execute(query.order_by(Item.length_mm, Item.id))]
    sure = ready(db, [spare.id for spare in fitting], today, zone)
    return [(spare, spare.id in sure) for spare in sorted(fitting, key=lambda spare: spare.id not in sure)[:most]]
