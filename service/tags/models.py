"""Tables of tags: which code was on what, from when until when; the label sheets, and the printer."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import CheckConstraint, Index, text
from sqlalchemy.orm import Mapped, mapped_column

from service.gear.models import Item
from service.store.base import Base, BigInt, refers


class Tag(Base):
    """A code on an item or on a place. Everything else refers to the item, never to the code."""

    __tablename__ = "tag"
    __table_args__ = (
        CheckConstraint("(item_id IS NULL) <> (place_id IS NULL)", name="on_one_thing"),
        Index(
            "ix_tag_now_item",
            "item_id",
            unique=True,
            sqlite_where=text("until IS NULL"),
            postgresql_where=text("until IS NULL"),
        ),
        Index(
            "ix_tag_now_place",
            "place_id",
            unique=True,
            sqlite_where=text("until IS NULL"),
            postgresql_where=text("until IS NULL"),
        ),
    )

    code: Mapped[str] = mapped_column(primary_key=True)
    item_id: Mapped[UUID | None] = mapped_column(refers("item.id"))
    place_id: Mapped[UUID | None] = mapped_column(refers("place.id"))
    since: Mapped[datetime]
    until: Mapped[datetime | None]


TAG_IN_USE = Tag.until.is_(None)
"""The condition that a tag is on something now."""
IS_TAG_OF_ITEM = (Tag.item_id == Item.id) & TAG_IN_USE
"""The join condition of an item and its present tag."""


class TagPrint(Base):
    """A request to print a tag, because it is new or worn; `printed_at` is set once it was printed."""

    __tablename__ = "tag_print"

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    code: Mapped[str] = mapped_column(refers("tag.code"), index=True)
    why: Mapped[str]
    asked_at: Mapped[datetime]
    asked_by: Mapped[UUID | None] = mapped_column(refers("person.id"))
    printed_at: Mapped[datetime | None]


WAITS_FOR_PRINT = TagPrint.printed_at.is_(None)
"""The condition that a tag waits to be printed."""


class LabelSheet(Base):
    """A sheet of labels of the program's own, in micrometers; the built-in ones are in `core.sheets`."""

    __tablename__ = "label_sheet"

    id: Mapped[UUID] = mapped_column(primary_key=True)
    width: Mapped[int]
    height: Mapped[int]
    left: Mapped[int]
    top: Mapped[int]
    label_width: Mapped[int]
    label_height: Mapped[int]
    pitch_x: Mapped[int]
    pitch_y: Mapped[int]
    columns: Mapped[int]
    rows: Mapped[int]
    radius: Mapped[int]
    made_by: Mapped[UUID | None] = mapped_column(refers("person.id"))
    created_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]


class TagPrinter(Base):
    """The measurements of the printer, in micrometers; the newest row counts."""

    __tablename__ = "tag_printer"

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    measured_x: Mapped[int]
    measured_y: Mapped[int]
    right: Mapped[int]
    down: Mapped[int]
    measured_at: Mapped[datetime]
    measured_by: Mapped[UUID | None] = mapped_column(refers("person.id"))
