"""Actions on gear: adding, placing, changing state, flagging, adding notes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID, uuid4

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from service.crew.core import Actor, Who
from service.crew.queries import note_in_audit
from service.gear import queries
from service.gear.core import FlagKind, ItemState, PlaceKind, likely_kind
from service.gear.models import (
    COUNT_REVISION,
    FLAG_IS_OPEN,
    IS_PRESENT_PLACEMENT,
    Flag,
    Item,
    ItemLength,
    Note,
    Place,
    Placement,
    Port,
    StateChange,
)
from service.gear.wirings import find_wiring, ports_of
from service.kit.problems import Gone, NotFound, invalid
from service.store.sessions import chunks, locked, shared

WALK_STEP = 10
"""The difference between the `walk_order` of two neighbors, so that an import can put a place between them."""


@dataclass(frozen=True)
class NewItem:
    """The details of an item when it is added. Lengths in millimeters (0: none), prices in cents.

    `strapped` is None if it was not given. The kinds are those of new places; None if they were not given.
    """

    kind: str
    wiring: str
    length_mm: int = 0
    gauge_awg: int | None = None
    label: str = ""
    place: str = ""
    place_b: str = ""
    batch: str = ""
    bought_on: date | None = None
    price_cents: int | None = None
    spare: bool = False
    strapped: bool | None = None
    place_kind: PlaceKind | None = None
    place_b_kind: PlaceKind | None = None


def add_items(
    db: Session, new: NewItem, ids: Sequence[UUID], who: Who | None, now: datetime, in_service_on: date
) -> list[Item]:
    """Add equal items with their ports, place, first state and first length."""
    return add_each(db, [(item_id, new) for item_id in ids], who, now, in_service_on)


def add_each(
    db: Session, pieces: Sequence[tuple[UUID, NewItem]], who: Who | None, now: datetime, in_service_on: date
) -> list[Item]:
    """Add items of different kinds, as `add_items` does. The number of statements does not grow with the items."""
    items = [_item(item_id, new, who, now, in_service_on) for item_id, new in pieces]
    db.add_all(items)
    db.flush()
    names: dict[str, PlaceKind | None] = {}
    for _, new in pieces:
        for name, kind in ((new.place, new.place_kind), (new.place_b, new.place_b_kind)):
            if name:
                names[name] = names.get(name) or kind
    places = {name: place_for(db, name, who, now, kind) for name, kind in names.items()}
    for item, (_, new) in zip(items, pieces, strict=True):
        wiring = find_wiring(db, new.wiring)
        db.add_all(Port(item_id=item.id, **port) for port in ports_of(new.wiring, wiring, new.kind))
        _note_state(db, item, None, ItemState(item.state), who, now, "added")
        if new.length_mm:
            db.add(ItemLength(item_id=item.id, length_mm=new.length_mm, at=now, reason="as bought"))
        if new.place:
            db.add(_placement(item.id, places[new.place], places.get(new.place_b), now, new.strapped))
    db.flush()
    return items


def _item(item_id: UUID, new: NewItem, who: Who | None, now: datetime, in_service_on: date) -> Item:
    return Item(
        id=item_id,
        kind=new.kind,
        wiring=new.wiring,
        label=new.label,
        state=ItemState.SPARE if new.spare else ItemState.IN_SERVICE,
        length_mm=new.length_mm,
        gauge_awg=new.gauge_awg,
        batch=new.batch,
        bought_on=new.bought_on,
        price_cents=new.price_cents,
        in_service_on=in_service_on,
        created_at=now,
        made_by=who.id if who else None,
    )


def _placement(item_id: UUID, place_a: Place, place_b: Place | None, now: datetime, strapped: bool | None) -> Placement:
    return Placement(
        item_id=item_id,
        place_a_id=place_a.id,
        place_b_id=place_b.id if place_b else None,
        since=now,
        until=None,
        strapped=strapped,
    )


def place_for(db: Session, name: str, who: Who | None, now: datetime, kind: PlaceKind | None = None) -> Place:
    """The place with this name, locked so that nobody removes it meanwhile; if there is none, it is added at the end of
    the walk, with the kind that its name suggests unless `kind` is given.
    """
    place = queries.place_named(db, name)
    if place is not None and shared(db, Place, place.id).ended_at is None:
        return place
    return add_place(db, uuid4(), name, kind or likely_kind(name), who, now)


def add_place(db: Session, place_id: UUID, name: str, kind: PlaceKind, who: Who | None, now: datetime) -> Place:
    """Add a place at the end of the walk.

    Raises:
        Invalid: another place has this name.
    """
    _refuse_taken_name(db, name, None)
    last = queries.last_in_walk(db)
    added = Place(id=place_id, name=name, kind=kind, walk_order=last + WALK_STEP, created_at=now, ended_at=None)
    db.add(added)
    db.flush()
    note_in_audit(db, now, who.id if who else None, "place.made", name, {"kind": kind})
    return added


def change_place(db: Session, place_id: UUID, name: str, kind: PlaceKind, actor: Actor) -> Place:
    """Change a place's name or kind. Its gear stays there, and the audit trail keeps the old values.

    Raises:
        NotFound: there is no such place.
        Invalid: another place has this name.
    """
    locked(db, Place, place_id)
    changed = place_with(db, place_id)
    _refuse_taken_name(db, name, place_id)
    was = {"name": changed.name, "kind": changed.kind}
    changed.name, changed.kind = name, kind
    db.flush()
    if was["kind"] != kind:  # what lives there may be strapped now, or no longer
        db.connection().execute(COUNT_REVISION, {"items": queries.placed_at(db, place_id)})
    changes = {column: [was[column], new] for column, new in {"name": name, "kind": kind}.items() if was[column] != new}
    if changes:
        note_in_audit(db, actor.now, actor.who.id, "place.changed", name, changes)
    return changed


def move_in_walk(db: Session, place_id: UUID, steps: int, actor: Actor) -> None:
    """Move a place earlier (`steps` below 0) or later in the walk, at most to the first or last turn."""
    moved = place_with(db, place_id)
    walk = [each for each in queries.places(db) if each.id != place_id]
    before = sum((each.walk_order, each.name) < (moved.walk_order, moved.name) for each in walk)
    walk.insert(max(0, before + steps), moved)
    after = walk.index(moved)
    for turn, each in enumerate(walk, 1):
        each.walk_order = turn * WALK_STEP
    db.flush()
    if after != before:
        turns = {"turn": [before + 1, after + 1]}
        note_in_audit(db, actor.now, actor.who.id, "place.moved", moved.name, turns)


def end_place(db: Session, ended: Place, actor: Actor) -> None:
    """Remove a place from the walk and every list. Its history stays, and its name can be used again."""
    ended.ended_at = actor.now
    db.flush()
    note_in_audit(db, actor.now, actor.who.id, "place.removed", ended.name)


def place_with(db: Session, place_id: UUID) -> Place:
    """The place with this id.

    Raises:
        NotFound: there is none.
        Gone: it was removed.
    """
    place = db.get(Place, place_id)
    if place is None:
        raise NotFound("There is no such place. Go back to the places and look from there.")
    if place.ended_at is not None:
        raise Gone(f"The place {place.name} was removed. Go back to the places and look from there.")
    return place


def locked_place(db: Session, place_id: UUID) -> Place:
    """The place with this id, locked so that nobody removes it meanwhile.

    Raises:
        NotFound, Gone: as `place_with`.
    """
    shared(db, Place, place_id)
    return place_with(db, place_id)


def _refuse_taken_name(db: Session, name: str, by_now: UUID | None) -> None:
    other = queries.place_named(db, name)
    if other is not None and other.id != by_now:
        raise invalid("name", f"There is a place called {other.name} already; choose another name.")


def place(
    db: Session,
    item_id: UUID,
    name: str,
    name_b: str,
    who: Who | None,
    now: datetime,
    strapped: bool | None = None,
    kind: PlaceKind | None = None,
    kind_b: PlaceKind | None = None,
) -> None:
    """Set the place of an item: two places, one, or, without a name, none. The kinds are those of new places."""
    db.execute(update(Placement).where(Placement.item_id == item_id, IS_PRESENT_PLACEMENT).values(until=now))
    db.connection().execute(COUNT_REVISION, {"items": [item_id]})
    if not name:
        return
    place_a = place_for(db, name, who, now, kind)
    place_b = place_for(db, name_b, who, now, kind_b) if name_b else None
    db.add(_placement(item_id, place_a, place_b, now, strapped))
    db.flush()


def change_item(db: Session, item: Item, values: Mapping[str, Any]) -> dict[str, list[Any]]:
    """Change an item's label, gauge, batch or purchase.

    Returns:
        each changed column with its value before and after.
    """
    changed = {name: [getattr(item, name), value] for name, value in values.items() if getattr(item, name) != value}
    for name, (_, value) in changed.items():
        setattr(item, name, value)
    db.flush()
    if changed:
        db.connection().execute(COUNT_REVISION, {"items": [item.id]})
    return changed


def refuse_missing_kinds(db: Session, places: Mapping[str, str], kinds: Mapping[str, PlaceKind | None]) -> None:
    """Refuse new places without a kind; `places` are by field, `kinds` by the field for the kind.

    Raises:
        Invalid: for the first missing kind.
    """
    for field, name in places.items():
        kind_field = f"{field}_kind"
        if name and kinds.get(kind_field) is None and queries.place_named(db, name) is None:
            raise invalid(kind_field, f"“{name}” is a new place. Say what it is.")


def refuse_future_purchase(bought_on: date | None, today: date) -> None:
    """Refuse a purchase in the future.

    Raises:
        Invalid: `bought_on` is later than `today`.
    """
    if bought_on is not None and bought_on > today:
        raise invalid("bought_on", f"{bought_on} is in the future; enter the day when it was bought.")


def change_state(db: Session, item: Item, to: ItemState, who: Who | None, now: datetime, reason: str) -> None:
    """Change an item's state and record the reason. Does nothing if it has that state already."""
    if item.state == to:
        return
    _note_state(db, item, ItemState(item.state), to, who, now, reason)
    item.state = to


def _note_state(
    db: Session,
    item: Item,
    before: ItemState | None,
    to: ItemState,
    who: Who | None,
    now: datetime,
    reason: str,
) -> None:
    person_id = who.id if who else None
    db.add(StateChange(item_id=item.id, from_state=before, to_state=to, at=now, person_id=person_id, reason=reason))


def shorten(db: Session, item: Item, length_mm: int, now: datetime, reason: str) -> None:
    """Give an item another length and keep the old one in its history."""
    item.length_mm = length_mm
    db.add(ItemLength(item_id=item.id, length_mm=length_mm, at=now, reason=reason))
    db.connection().execute(COUNT_REVISION, {"items": [item.id]})


def raise_flag(
    db: Session, item_id: UUID, flag: FlagKind, period: str, note: str, who: Who | None, now: datetime
) -> bool:
    """Raise a flag, at most once in a period.

    Returns:
        False if it was raised in this period before.
    """
    same = (Flag.item_id == item_id, Flag.flag == flag, Flag.period == period)
    if db.scalar(select(Flag.id).where(*same)) is not None:
        return False
    db.add(
        Flag(
            item_id=item_id,
            flag=flag,
            period=period,
            note=note,
            raised_at=now,
            raised_by=who.id if who else None,
            cleared_at=None,
            cleared_by=None,
            cleared_why=None,
        )
    )
    return True


def clear_flags(db: Session, flags: Sequence[Flag], why: str, who: Who | None, now: datetime) -> int:
    """Clear flags. A flag that somebody else cleared in the meantime keeps their reason.

    Returns:
        how many were still up.
    """
    cleared = 0
    for ids in chunks(flag.id for flag in flags):
        query = update(Flag).where(Flag.id.in_(ids), FLAG_IS_OPEN)
        values = {"cleared_at": now, "cleared_by": who.id if who else None, "cleared_why": why}
        # These objects are not used again; comparing each object of the session takes longer than everything else.
        done = db.execute(query.values(values), execution_options={"synchronize_session": False})
        cleared += int(done.rowcount)  # type: ignore[attr-defined]
    return cleared


def add_note(db: Session, item_id: UUID, text: str, who: Who | None, now: datetime) -> None:
    """Add a note to an item."""
    db.add(Note(item_id=item_id, at=now, person_id=who.id if who else None, text=text))
