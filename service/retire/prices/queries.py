"""Every look-up about prices."""

from collections import defaultdict
from datetime import date
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from service.gear.models import Item, ItemLength
from service.retire.prices.core import Price, Purchase, Sort
from service.retire.prices.models import GearPrice


def bought_lengths(db: Session) -> dict[UUID, int]:
    """The length (mm) as bought of every item that was cut since; the others still have theirs."""
    first = select(func.min(ItemLength.id)).group_by(ItemLength.item_id).having(func.count() > 1)
    rows = db.execute(select(ItemLength.item_id, ItemLength.length_mm).where(ItemLength.id.in_(first)))
    return {item_id: length for item_id, length in rows}  # noqa: C416  (a row is no pair to the type checker)


def purchases(db: Session) -> list[Purchase]:
    """Every item there ever was, as it was bought."""
    bought = bought_lengths(db)
    rows = db.execute(select(Item.id, Item.kind, Item.wiring, Item.length_mm, Item.bought_on, Item.price_cents))
    return [
        Purchase(Sort(kind, wiring, bought.get(item_id, length)), on, cents)
        for item_id, kind, wiring, length, on, cents in rows
    ]


def prices(db: Session) -> dict[Sort, Price]:
    """What one of each sort costs: as the program said last, else as it paid last."""
    found: dict[Sort, Price] = {}
    for each in sorted(purchases(db), key=lambda one: one.on or date.min):
        if each.cents is not None:
            found[each.sort] = Price(each.cents, each.on)
    said = select(GearPrice.kind, GearPrice.wiring, GearPrice.length_mm, GearPrice.cents)
    for kind, wiring, length, cents in db.execute(said.order_by(GearPrice.id)):
        found[Sort(kind, wiring, length)] = Price(cents, None, said=True)
    return found


def sorts(db: Session) -> dict[Sort, int]:
    """The sorts of gear that the program has or had, and how many of each it owns, retired and lost ones too."""
    counted: dict[Sort, int] = defaultdict(int)
    for each in purchases(db):
        counted[each.sort] += 1
    return dict(counted)
