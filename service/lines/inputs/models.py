"""Tables of input lists: the lists, their channels, and what carried each channel from when until when."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import CheckConstraint, Index, text
from sqlalchemy.orm import Mapped, mapped_column

from service.store.base import Base, refers


class InputList(Base):
    """The input list of a season, or of an event that has one of its own."""

    __tablename__ = "input_list"
    __table_args__ = (CheckConstraint("(season_id IS NULL) <> (event_id IS NULL)", name="of_one"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    season_id: Mapped[UUID | None] = mapped_column(refers("season.id"), unique=True)
    event_id: Mapped[UUID | None] = mapped_column(refers("event.id"), unique=True)
    created_at: Mapped[datetime]
    made_by: Mapped[UUID | None] = mapped_column(refers("person.id"))


class Channel(Base):
    """A channel of an input list: its number at the mixer, what stands there (a microphone, an instrument), whether it
    needs phantom power, and at which place. One that ended keeps its row for the history.
    """

    __tablename__ = "channel"
    __table_args__ = (
        CheckConstraint("number > 0", name="number"),
        Index(
            "ix_channel_now",
            "input_list_id",
            "number",
            unique=True,
            sqlite_where=text("ended_at IS NULL"),
            postgresql_where=text("ended_at IS NULL"),
        ),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    input_list_id: Mapped[UUID] = mapped_column(refers("input_list.id"), index=True)
    number: Mapped[int]
    source: Mapped[str]
    microphone: Mapped[str]
    phantom: Mapped[bool]
    place_id: Mapped[UUID | None] = mapped_column(refers("place.id"))
    created_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]


CHANNEL_IN_USE = Channel.ended_at.is_(None)
"""The condition that a channel was not taken off its list."""


class LineRow(Base):
    """What carries a channel, from when until when. It is never changed: another line takes its place."""

    __tablename__ = "line"
    __table_args__ = (
        Index(
            "ix_line_now",
            "channel_id",
            unique=True,
            sqlite_where=text("until IS NULL"),
            postgresql_where=text("until IS NULL"),
        ),
        Index(None, "channel_id", "since"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    channel_id: Mapped[UUID] = mapped_column(refers("channel.id"))
    since: Mapped[datetime]
    until: Mapped[datetime | None]
    mixer_stays: Mapped[bool]
    made_by: Mapped[UUID | None] = mapped_column(refers("person.id"))


class LineItemRow(Base):
    """An item of a line, at its position from the source; see `LineItem`."""

    __tablename__ = "line_item"

    line_id: Mapped[UUID] = mapped_column(refers("line.id"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    item_id: Mapped[UUID] = mapped_column(refers("item.id"), index=True)
    lane: Mapped[str | None]
    stays: Mapped[bool]
