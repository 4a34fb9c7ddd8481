"""Tables of tags: which code was on what, from when until when."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import CheckConstraint, Index, text
from sqlalchemy.orm import Mapped, mapped_column

from service.store.base import Base, BigInt, refers


class Tag(Base):
    """A code on an item or on a place. Everything else refers to the item, never to the code."""

    __tablename__ = "tag"
    __table_args__ = (
        CheckConstraint("(item_id IS NULL) <> (place_id IS NULL)", name="on_one_thing"),
        Index("ix_tag_now_item", "item_id", unique=True,
              sqlite_where=text("until IS NULL"), postgresql_where=text("until IS NULL")),
        Index("ix_tag_now_place", "place_id", unique=True,
              sqlite_where=text("until IS NULL"), postgresql_where=text("until IS NULL")),
    )  # fmt: skip

    code: Mapped[str] = mapped_column(primary_key=True)
    item_id: Mapped[UUID | None] = mapped_column(refers("item.id"))
    place_id: Mapped[UUID | None] = mapped_column(refers("place.id"))
    since: Mapped[datetime]
    until: Mapped[datetime | None]


class TagPrint(Base):
    """A tag that is to be printed: new, or worn; `printed_at` ends its wait."""

    __tablename__ = "tag_print"

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    code: Mapped[str] = mapped_column(refers("tag.code"), index=True)
    why: Mapped[str]
    asked_at: Mapped[datetime]
    asked_by: Mapped[UUID | None] = mapped_column(refers("person.id"))
    printed_at: Mapped[datetime | None]
