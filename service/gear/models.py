"""Tables of gear: items, their ports, places, states, lengths, flags and notes, and a program's own wirings."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import CheckConstraint, Index, UniqueConstraint, Uuid, bindparam, select, text, update
from sqlalchemy.orm import Mapped, mapped_column

from service.gear.core import ASKED, USABLE, End, FlagKind, Gender, ItemState, PlaceKind
from service.store.base import Base, BigInt, one_of, refers


class Place(Base):
    """Where items are kept; `walk_order` is its position on the walk from one place to the next.

    A removed place keeps its row and name for the history; another place may then have the same name.
    """

    __tablename__ = "place"
    __table_args__ = (
        one_of("kind", PlaceKind),
        Index(
            "ix_place_now_name",
            "name",
            unique=True,
            sqlite_where=text("ended_at IS NULL"),
            postgresql_where=text("ended_at IS NULL"),
        ),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    name: Mapped[str]
    kind: Mapped[str]
    walk_order: Mapped[int]
    created_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]


PLACE_IN_USE = Place.ended_at.is_(None)
"""The condition that a place was not removed."""


class OwnWiring(Base):
    """A program's own wiring. It is never changed, because tests refer to it by its key."""

    __tablename__ = "wiring"

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    key: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str]
    spec: Mapped[dict[str, Any]]
    made_by: Mapped[UUID | None] = mapped_column(refers("person.id"))
    created_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]


class Item(Base):
    """One piece of gear. Lengths in millimeters (0 where the kind has none), prices in cents.

    `revision` counts what was written about it, wherever that stands (`COUNT_REVISION`).
    """

    __tablename__ = "item"
    __table_args__ = (
        one_of("state", ItemState),
        CheckConstraint("length_mm >= 0", name="length_mm"),
        Index(None, "kind", "length_mm", "id"),
        Index(None, "state", "kind", "length_mm", "id"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    kind: Mapped[str]
    wiring: Mapped[str]
    label: Mapped[str]
    state: Mapped[str]
    length_mm: Mapped[int]
    gauge_awg: Mapped[int | None]
    batch: Mapped[str]
    bought_on: Mapped[date | None]
    price_cents: Mapped[int | None]
    in_service_on: Mapped[date]
    created_at: Mapped[datetime]
    made_by: Mapped[UUID | None] = mapped_column(refers("person.id"))
    revision: Mapped[int] = mapped_column(default=0)


COUNT_REVISION = (
    update(Item).where(Item.id.in_(bindparam("items", expanding=True, type_=Uuid()))).values(revision=Item.revision + 1)
)
"""Note that something was written about `items`, so that what was worked out from it is worked out anew: their log,
states, seasons, length, class or strapping. Names, prices and flags are read where they are shown. It counts in SQL, so
that it also holds for what was written to a copy of the database and is then written again.
"""
ITEM_IS_USABLE = Item.state.in_(USABLE)
"""The condition that an item may be used."""
ITEM_IS_ASKED = Item.state.in_(ASKED)
"""The condition that an item has to be tested: it is not retired or lost."""


class Port(Base):
    """One connector of an item. Lines join ports, and a spare fits if its ports do."""

    __tablename__ = "port"
    __table_args__ = (
        one_of("end", End),
        one_of("gender", Gender),
        UniqueConstraint("item_id", "end", "connector"),
    )

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    item_id: Mapped[UUID] = mapped_column(refers("item.id"))
    end: Mapped[str]
    connector: Mapped[int]
    lane: Mapped[str | None]
    type: Mapped[str]
    gender: Mapped[str]


class Placement(Base):
    """Where an item was kept, from when until when; a chained cable spans two places.

    `strapped` is None if it was not given: then an item counts as strapped only at an instrument frame.
    """

    __tablename__ = "placement"
    __table_args__ = (
        Index(
            "ix_placement_now",
            "item_id",
            unique=True,
            sqlite_where=text("until IS NULL"),
            postgresql_where=text("until IS NULL"),
        ),
        Index(None, "place_a_id", "until"),
        Index(None, "item_id"),
    )

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    item_id: Mapped[UUID] = mapped_column(refers("item.id"))
    place_a_id: Mapped[UUID] = mapped_column(refers("place.id"))
    place_b_id: Mapped[UUID | None] = mapped_column(refers("place.id"), index=True)
    since: Mapped[datetime]
    until: Mapped[datetime | None]
    strapped: Mapped[bool | None]


IS_PRESENT_PLACEMENT = Placement.until.is_(None)
"""The condition that a placement is the present one of its item."""


class StateChange(Base):
    """One change of an item's state, with who did it and why."""

    __tablename__ = "state_change"
    __table_args__ = (one_of("to_state", ItemState), Index(None, "item_id", "id"))

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    item_id: Mapped[UUID] = mapped_column(refers("item.id"))
    from_state: Mapped[str | None]
    to_state: Mapped[str]
    at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
    reason: Mapped[str]


class ItemLength(Base):
    """The length of an item from an instant on."""

    __tablename__ = "item_length"

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    item_id: Mapped[UUID] = mapped_column(refers("item.id"), index=True)
    length_mm: Mapped[int]
    at: Mapped[datetime]
    reason: Mapped[str]


class Flag(Base):
    """A flag on an item: raised at most once in a period, cleared, never deleted.

    `period` distinguishes the occasions: the round that the flag is about, or the id of the entry that raised it.
    """

    __tablename__ = "flag"
    __table_args__ = (
        one_of("flag", FlagKind),
        UniqueConstraint("item_id", "flag", "period"),
        Index(
            "ix_flag_open",
            "flag",
            "item_id",
            sqlite_where=text("cleared_at IS NULL"),
            postgresql_where=text("cleared_at IS NULL"),
        ),
    )

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    item_id: Mapped[UUID] = mapped_column(refers("item.id"))
    flag: Mapped[str]
    period: Mapped[str]
    note: Mapped[str]
    raised_at: Mapped[datetime]
    raised_by: Mapped[UUID | None] = mapped_column(refers("person.id"))
    cleared_at: Mapped[datetime | None]
    cleared_by: Mapped[UUID | None] = mapped_column(refers("person.id"))
    cleared_why: Mapped[str | None]


FLAG_IS_OPEN = Flag.cleared_at.is_(None)
"""The condition that a flag is raised now."""
IS_SUSPECT = (
    select(Flag.id).where(Flag.item_id == Item.id, Flag.flag == FlagKind.SUSPECT, FLAG_IS_OPEN).correlate(Item).exists()
)
"""The condition that a flag makes its item suspect now."""


class Note(Base):
    """A note about an item."""

    __tablename__ = "note"

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    item_id: Mapped[UUID] = mapped_column(refers("item.id"), index=True)
    at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
    text: Mapped[str]
