"""Tables of line checks: each check, what was heard in it, and the causes. Only the end of a check is ever changed."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import CheckConstraint, Index
from sqlalchemy.orm import Mapped, mapped_column

from service.lines.checks.core.components import CauseKind
from service.lines.checks.core.kinds import CheckKind
from service.lines.checks.core.listening import Sound
from service.store.base import Base, one_of, refers


class LineCheck(Base):
    """A line check or a set-up drill of an input list, with the seconds that there are for it; `event_id` None: at a
    rehearsal.
    """

    __tablename__ = "line_check"
    __table_args__ = (
        one_of("kind", CheckKind),
        CheckConstraint("window_s > 0", name="some_time"),
        Index(None, "input_list_id", "started_at"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    input_list_id: Mapped[UUID] = mapped_column(refers("input_list.id"))
    event_id: Mapped[UUID | None] = mapped_column(refers("event.id"), index=True)
    kind: Mapped[str] = mapped_column(default=CheckKind.CHECK)
    window_s: Mapped[int]
    started_at: Mapped[datetime] = mapped_column(index=True)
    ended_at: Mapped[datetime | None]
    made_by: Mapped[UUID] = mapped_column(refers("person.id"))


class HeardRow(Base):
    """What somebody heard on a channel; `sounds_as` is the channel that it sounded as, where it was crossed."""

    __tablename__ = "heard"
    __table_args__ = (
        one_of("heard", Sound),
        CheckConstraint("(heard = 'crossed') = (sounds_as IS NOT NULL)", name="crossed_with"),
        Index(None, "check_id", "channel_id", "at"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    check_id: Mapped[UUID] = mapped_column(refers("line_check.id"))
    channel_id: Mapped[UUID] = mapped_column(refers("channel.id"))
    heard: Mapped[str]
    sounds_as: Mapped[UUID | None] = mapped_column(refers("channel.id"))
    at: Mapped[datetime]
    received_at: Mapped[datetime]
    person_id: Mapped[UUID] = mapped_column(refers("person.id"))


class CauseRow(Base):
    """What silenced a channel. A joint is named by its number in the line, 0 at the microphone."""

    __tablename__ = "cause"
    __table_args__ = (
        one_of("kind", CauseKind),
        CheckConstraint("(kind = 'item') = (item_id IS NOT NULL)", name="item_named"),
        CheckConstraint("(kind = 'joint') = (joint IS NOT NULL)", name="joint_named"),
        Index(None, "check_id", "channel_id"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    check_id: Mapped[UUID] = mapped_column(refers("line_check.id"))
    channel_id: Mapped[UUID] = mapped_column(refers("channel.id"))
    kind: Mapped[str]
    item_id: Mapped[UUID | None] = mapped_column(refers("item.id"), index=True)
    lane: Mapped[str | None]
    joint: Mapped[int | None]
    note: Mapped[str]
    at: Mapped[datetime]
    received_at: Mapped[datetime]
    person_id: Mapped[UUID] = mapped_column(refers("person.id"))
