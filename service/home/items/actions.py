"""Actions on items across features: adding them involves gear, tags, the current seasons and the due state."""

from typing import Any
from uuid import UUID, uuid5

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.crew.queries import note_in_audit
from service.gear import actions as gear
from service.gear.actions import NewItem
from service.gear.forms import ItemDetails, NewItems, Placing
from service.gear.models import Item
from service.home.items.answers import items_json
from service.kit.quantities import Unit
from service.season import actions as season
from service.store.sessions import locked
from service.tags import actions as tags
from service.tags.queries import item_with
from service.testlog.effects import refresh_due


def add(db: Session, actor: Actor, op: UUID, new: NewItems, unit: Unit) -> list[dict[str, Any]]:
    """Add items, give them codes, add them to the current seasons, and compute their due states.

    Their ids are made from the client's id, so that the same request makes the same items. `unit` is the unit of the
    lengths in the answer.

    Raises:
        Invalid: the wiring is not known, or they would have been bought in the future.
    """
    gear.refuse_future_purchase(new.bought_on, actor.today)
    facts = NewItem(
        kind=new.kind,
        wiring=new.wiring,
        length_mm=new.length,
        gauge_awg=new.gauge_awg,
        label=new.label,
        place=new.place,
        place_b=new.place_b,
        batch=new.batch,
        bought_on=new.bought_on,
        price_cents=new.price,
        spare=new.spare,
        strapped=new.strapped,
        place_kind=new.place_kind,
        place_b_kind=new.place_b_kind,
    )
    ids = [uuid5(op, str(number)) for number in range(new.count)]
    gear.add_items(db, facts, ids, actor.who, actor.now, actor.today)
    codes = tags.issue(db, ids, actor.now)
    season.enlist(db, ids, season.running_seasons(db, actor.today))
    refresh_due(db, ids, actor.now, actor.zone)
    note_in_audit(db, actor.now, actor.who.id, "items.added", codes[0], {"codes": codes})
    return items_json(db, ids, unit)


def change(db: Session, actor: Actor, code: str, details: ItemDetails) -> None:
    """Change the details of an item, and keep the old values in the audit trail.

    Raises:
        Invalid, NotFound, Gone: the code is on no item, or it would have been bought in the future.
    """
    gear.refuse_future_purchase(details.bought_on, actor.today)
    item = _lock_item(db, code)
    changed = gear.change_item(db, item, details.given_fields())
    if changed:
        before_and_after = {
            name: [None if value is None else str(value) for value in both] for name, both in changed.items()
        }
        note_in_audit(db, actor.now, actor.who.id, "item.edited", code, before_and_after)


def move(db: Session, actor: Actor, code: str, placing: Placing) -> None:
    """Set the place of an item.

    Raises:
        Invalid, NotFound, Gone: the code is on no item.
    """
    gear.place(
        db,
        _lock_item(db, code).id,
        placing.place,
        placing.place_b,
        actor.who,
        actor.now,
        placing.strapped,
        placing.place_kind,
        placing.place_b_kind,
    )
    note_in_audit(db, actor.now, actor.who.id, "item.placed", code, placing.content())


def note(db: Session, actor: Actor, code: str, text: str) -> None:
    """Add a note to an item.

    Raises:
        Invalid, NotFound, Gone: the code is on no item.
    """
    gear.add_note(db, item_with(db, code).id, text, actor.who, actor.now)


def _lock_item(db: Session, code: str) -> Item:
    """The item with this code, locked until the transaction ends."""
    item: Item = locked(db, Item, item_with(db, code).id)
    return item
