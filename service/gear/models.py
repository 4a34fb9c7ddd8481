"""Tables of gear: items, their ports, places, states, lengths, flags and notes, and a program's own wirings."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import CheckConstraint, Index, UniqueConstraint, select, text
from sqlalchemy.orm import Mapped, mapped_column

from service.gear.core import ASKED, USABLE, End, FlagKind, Gender, ItemState, PlaceKind
from service.store.base import Base, BigInt, one_of, refers


class Place(Base):
    """Where items live; `walk_order` is its turn when somebody walks from one to the next.

    A place that was removed keeps its row and name, for what history says of it; another may be called so then.
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
"""Whether a place was not removed."""


class OwnWiring(Base):
    """A program's own wiring, never changed once made: tests refer to it by its key."""

    __tablename__ = "wiring"

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    key: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str]
    spec: Mapped[dict[str, Any]]
    made_by: Mapped[UUID | None] = mapped_column(refers("person.id"))
    created_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]


class Item(Base):
    """One piece of gear. Lengths in millimeters (0 where the kind has none), prices in cents."""

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


ITEM_IS_USABLE = Item.state.in_(USABLE)
"""Whether an item may be plugged in."""
ITEM_IS_ASKED = Item.state.in_(ASKED)
"""Whether an item is asked for its tests: it is not retired or lost."""


class Port(Base):
    """One connector of an item: lines join ports, and a spare fits by its ports."""

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

    `strapped` is None where nobody said it: then an item is strapped at an instrument frame, and nowhere else.
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


LIVES_THERE_NOW = Placement.until.is_(None)
"""Whether a placement is where its item lives now."""


class StateChange(Base):
    """One step in an item's life, with who and why."""

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
    """A length that an item had from a moment on."""

    __tablename__ = "item_length"

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    item_id: Mapped[UUID] = mapped_column(refers("item.id"), index=True)
    length_mm: Mapped[int]
    at: Mapped[datetime]
    reason: Mapped[str]


class Flag(Base):
    """A flag on an item: raised once a period, cleared, never deleted.

    `period` tells the occasions apart: the round that it speaks of, or the id of the entry that raised it.
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
"""Whether a flag is raised now."""
IS_SUSPECT = (
    select(Flag.id).where(Flag.item_id == Item.id, Flag.flag == FlagKind.SUSPECT, FLAG_IS_OPEN).correlate(Item).exists()
)
"""Whether an item is suspect now."""


class Note(Base):
    """Something worth knowing about an item."""

    __tablename__ = "note"

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    item_id: Mapped[UUID] = mapped_column(refers("item.id"), index=True)
    at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
    text: Mapped[str]
