"""Every look-up about swaps."""

from collections.abc import Collection, Sequence
from datetime import datetime
from uuid import UUID

from sqlalchemy import Uuid, bindparam, func, select
from sqlalchemy.orm import Session

from service.gear.core import FlagKind, ItemState
from service.gear.models import Flag, Item
from service.gear.queries import ItemFacts, as_facts, facts
from service.testlog.models import Swap

_LAST = (
    select(Swap.bad_id, func.max(Swap.at))
    .where(Swap.bad_id.in_(bindparam("items", expanding=True, type_=Uuid())))
    .group_by(Swap.bad_id)
)


def last_swaps(db: Session, item_ids: Collection[UUID]) -> dict[UUID, datetime]:
    """When a spare last took the place of each of these items; those whose place none took are left out."""
    found = db.connection().execute(_LAST, {"items": list(item_ids)})
    return {item_id: at for item_id, at in found}  # noqa: C416  (a row is no pair to the type checker)


def spares_for(db: Session, item: ItemFacts, most: int) -> Sequence[ItemFacts]:
    """The spares that fit an item: the same kind and wiring, as long or longer, the shortest first; none suspect."""
    suspect = select(Flag.id).where(
        Flag.item_id == Item.id, Flag.flag == FlagKind.SUSPECT, Flag.cleared_at.is_(None)
    )
    query = facts().where(
        Item.state == ItemState.SPARE, Item.kind == item.kind, Item.wiring == item.wiring,
        Item.length_mm >= item.length_mm, Item.id != item.id, ~suspect.exists(),
    )  # fmt: skip
    return [as_facts(row) for row in db.execute(query.order_by(Item.length_mm, Item.id).limit(most))]
