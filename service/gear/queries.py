"""Every query about gear."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from sqlalchemy import Row, Select, Uuid, bindparam, func, select
from sqlalchemy.orm import Session, aliased

from service.crew.core import ProgramFacts
from service.gear.core import USABLE, FlagKind, ItemState, PlaceKind, item_title
from service.gear.models import (
    FLAG_IS_OPEN,
    IS_PRESENT_PLACEMENT,
    PLACE_IN_USE,
    Flag,
    Item,
    ItemLength,
    Note,
    OwnWiring,
    Place,
    Placement,
    Port,
    StateChange,
)
from service.kit.quantities import Unit
from service.kit.text import alike

PlaceA = aliased(Place, name="place_a")
PlaceB = aliased(Place, name="place_b")
_UNTESTED = select(Flag.id).where(Flag.item_id == Item.id, Flag.flag == FlagKind.UNTESTED, FLAG_IS_OPEN)

_STRAPPED = func.coalesce(Placement.strapped, PlaceA.kind == PlaceKind.FRAME)


@dataclass(frozen=True)
class ItemFacts:
    """An item as lists show it, with its place (and `place_b` if it spans two).

    Lengths are in millimeters, 0 if the kind has none; prices in cents. `untested` says that it never passed a test and
    has no open fault, `strapped` that it is strapped to the frame at its place.
    """

    id: UUID
    kind: str
    wiring: str
    label: str
    state: ItemState
    length_mm: int
    gauge_awg: int | None
    batch: str
    bought_on: date | None
    price_cents: int | None
    in_service_on: date
    place_id: UUID | None
    place: str
    place_b: str
    walk_order: int
    untested: bool = False
    strapped: bool = False

    @property
    def stands(self) -> str:
        """The item's state as pages show it: a usable item is shown as untested until it passes a test."""
        return f"{self.state}_untested" if self.untested and self.state in USABLE else self.state


def facts() -> Select[*tuple[object, ...]]:
    """A query of items with their present places; each column is labelled with its name in `ItemFacts`. Callers add
    conditions, and columns with other labels, and read each row with `as_facts`.
    """
    return (
        select(
            Item.id.label("id"),
            Item.kind.label("kind"),
            Item.wiring.label("wiring"),
            Item.label.label("label"),
            Item.state.label("state"),
            Item.length_mm.label("length_mm"),
            Item.gauge_awg.label("gauge_awg"),
            Item.batch.label("batch"),
            Item.bought_on.label("bought_on"),
            Item.price_cents.label("price_cents"),
            Item.in_service_on.label("in_service_on"),
            PlaceA.id.label("place_id"),
            PlaceA.name.label("place"),
            PlaceB.name.label("place_b"),
            PlaceA.walk_order.label("walk_order"),
            _UNTESTED.exists().label("untested"),
            _STRAPPED.label("strapped"),
        )
        .select_from(Item)
        .outerjoin(Placement, (Placement.item_id == Item.id) & IS_PRESENT_PLACEMENT)
        .outerjoin(PlaceA, PlaceA.id == Placement.place_a_id)
        .outerjoin(PlaceB, PlaceB.id == Placement.place_b_id)
    )


_FACTS_OF = facts().where(Item.id.in_(bindparam("items", expanding=True, type_=Uuid())))
"""Built once: lists ask it for each page."""


def as_facts(row: Row[*tuple[Any, ...]]) -> ItemFacts:
    """The item in a row of `facts()`, whatever other columns it has."""
    return ItemFacts(
        row.id,
        row.kind,
        row.wiring,
        row.label,
        ItemState(row.state),
        row.length_mm,
        row.gauge_awg,
        row.batch,
        row.bought_on,
        row.price_cents,
        row.in_service_on,
        row.place_id,
        row.place or "",
        row.place_b or "",
        NOWHERE if row.walk_order is None else row.walk_order,
        bool(row.untested),
        bool(row.strapped),
    )


NOWHERE = 1_000_000
"""The walking order of items without a place, which come last."""


def item_facts(db: Session, item_ids: Collection[UUID]) -> dict[UUID, ItemFacts]:
    """These items as lists show them."""
    rows = db.execute(_FACTS_OF, {"items": list(item_ids)})
    return {row.id: row for row in map(as_facts, rows)}


def items(db: Session, item_ids: Collection[UUID]) -> Sequence[Item]:
    """These items, not locked."""
    return db.scalars(select(Item).where(Item.id.in_(item_ids))).all()


def places(db: Session) -> Sequence[Place]:
    """All places in walking order, without removed ones."""
    now = select(Place).where(PLACE_IN_USE)
    return db.scalars(now.order_by(Place.walk_order, Place.name)).all()


def placed_at(db: Session, place_id: UUID) -> Sequence[UUID]:
    """The items that live at a place, or did; those that only end there left out."""
    return db.scalars(select(Placement.item_id).where(Placement.place_a_id == place_id).distinct()).all()


def place_named(db: Session, name: str) -> Place | None:
    """The place with this name now, ignoring case. If there are several, the one with exactly this spelling."""
    exactly = db.scalar(select(Place).where(Place.name == name, PLACE_IN_USE))
    # A name is usually unique, and reading all places for each row of a sheet takes long.
    if exactly is not None:
        return exactly
    now = select(Place.id, Place.name).where(PLACE_IN_USE)
    named = db.execute(now.order_by(Place.walk_order, Place.id))
    alike_one = next((place_id for place_id, called in named if alike(called, name)), None)
    return db.get_one(Place, alike_one) if alike_one else None


def last_in_walk(db: Session) -> int:
    """The walking order of the last place, 0 if there is none."""
    return db.scalar(select(func.max(Place.walk_order))) or 0


def counts_by_place(db: Session) -> dict[UUID, int]:
    """The number of items at each place now. An item that spans two places counts at both."""
    here = select(Placement.place_a_id.label("place_id")).where(IS_PRESENT_PLACEMENT)
    there = select(Placement.place_b_id).where(IS_PRESENT_PLACEMENT, Placement.place_b_id.is_not(None))
    both = here.union_all(there).subquery()
    rows = db.execute(select(both.c.place_id, func.count()).group_by(both.c.place_id))
    return {place_id: count for place_id, count in rows if place_id is not None}


def placements(db: Session, item_id: UUID) -> Sequence[Row[Placement, str, str | None]]:
    """The places where an item was kept, with their names, the latest first."""
    return db.execute(
        select(Placement, PlaceA.name, PlaceB.name)
        .join(PlaceA, PlaceA.id == Placement.place_a_id)
        .outerjoin(PlaceB, PlaceB.id == Placement.place_b_id)
        .where(Placement.item_id == item_id)
        .order_by(Placement.id.desc())
    ).all()


def strapped_as_given(db: Session, item_id: UUID) -> bool | None:
    """Whether an item is strapped at its place; None if it was not given."""
    now = select(Placement.strapped).where(Placement.item_id == item_id, IS_PRESENT_PLACEMENT)
    return db.scalar(now)


def own_wirings(db: Session) -> Sequence[OwnWiring]:
    """The program's own wirings that are still offered."""
    return db.scalars(select(OwnWiring).where(OwnWiring.ended_at.is_(None)).order_by(OwnWiring.name)).all()


def own_wiring(db: Session, key: str) -> OwnWiring | None:
    """The program's own wiring of this key, offered or not."""
    return db.scalar(select(OwnWiring).where(OwnWiring.key == key))


def states(db: Session, item_id: UUID) -> Sequence[StateChange]:
    """All changes of an item's state, the first one first."""
    return db.scalars(select(StateChange).where(StateChange.item_id == item_id).order_by(StateChange.id)).all()


def lengths(db: Session, item_id: UUID) -> Sequence[ItemLength]:
    """The lengths that an item had, the oldest first."""
    return db.scalars(select(ItemLength).where(ItemLength.item_id == item_id).order_by(ItemLength.id)).all()


def notes(db: Session, item_id: UUID) -> Sequence[Note]:
    """Notes on an item, the newest first."""
    return db.scalars(select(Note).where(Note.item_id == item_id).order_by(Note.id.desc())).all()


def ports(db: Session, item_id: UUID) -> Sequence[Port]:
    """The connectors of an item, end A first."""
    return db.scalars(select(Port).where(Port.item_id == item_id).order_by(Port.end, Port.connector)).all()


def ports_of_items(db: Session, item_ids: Collection[UUID]) -> dict[UUID, list[Port]]:
    """The connectors of each of these items, in order."""
    ports: dict[UUID, list[Port]] = {item_id: [] for item_id in item_ids}
    query = select(Port).where(Port.item_id.in_(item_ids))
    for port in db.scalars(query.order_by(Port.item_id, Port.end, Port.connector)):
        ports[port.item_id].append(port)
    return ports


def placement(db: Session, item_id: UUID) -> Placement | None:
    """The present placement of an item; None if there is none."""
    return db.scalar(select(Placement).where(Placement.item_id == item_id, IS_PRESENT_PLACEMENT))


def open_flags(db: Session, item_ids: Collection[UUID]) -> dict[UUID, list[Flag]]:
    """The flags that are raised on these items, the oldest first."""
    flags: dict[UUID, list[Flag]] = {item_id: [] for item_id in item_ids}
    query = select(Flag).where(Flag.item_id.in_(item_ids), FLAG_IS_OPEN).order_by(Flag.id)
    for flag in db.scalars(query):
        flags[flag.item_id].append(flag)
    return flags


def flags(db: Session, item_id: UUID) -> Sequence[Flag]:
    """Every flag that was ever raised on an item, the newest first."""
    return db.scalars(select(Flag).where(Flag.item_id == item_id).order_by(Flag.id.desc())).all()


def is_suspect(db: Session, item_id: UUID) -> bool:
    """Whether an item is suspect now."""
    query = select(Flag.id).where(Flag.item_id == item_id, Flag.flag == FlagKind.SUSPECT, FLAG_IS_OPEN)
    return db.scalar(query.limit(1)) is not None


def item_namer(program: ProgramFacts) -> Callable[[ItemFacts], str]:
    """A function that gives the title of an item, with lengths in the program's unit."""
    unit = Unit(program.unit)
    return lambda item: item_title(item, unit)
