"""Tables of the pull list: ticks, ticks that were taken back, and prints."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import CheckConstraint, Index
from sqlalchemy.orm import Mapped, mapped_column

from service.gear.core import ItemState
from service.retire.decisions.core import Action
from service.store.base import Base, one_of, refers


class PullTick(Base):
    """A row that was done: the action, who, the spare that went in, and the former states and places, for undoing."""

    __tablename__ = "pull_tick"
    __table_args__ = (
        one_of("action", Action),
        one_of("state_before", ItemState),
        one_of("state_after", ItemState),
        CheckConstraint("item_id <> spare_id", name="two_items"),
        Index(None, "event_id", "at"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    event_id: Mapped[UUID] = mapped_column(refers("event.id"))
    item_id: Mapped[UUID] = mapped_column(refers("item.id"), index=True)
    spare_id: Mapped[UUID | None] = mapped_column(refers("item.id"))
    action: Mapped[str]
    why: Mapped[list[Any]]
    state_before: Mapped[str]
    state_after: Mapped[str]
    place_a_id: Mapped[UUID | None] = mapped_column(refers("place.id"))
    place_b_id: Mapped[UUID | None] = mapped_column(refers("place.id"))
    spare_place_id: Mapped[UUID | None] = mapped_column(refers("place.id"))
    at: Mapped[datetime]
    received_at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))


class PullUntick(Base):
    """A tick that was taken back."""

    __tablename__ = "pull_untick"

    tick_id: Mapped[UUID] = mapped_column(refers("pull_tick.id"), primary_key=True)
    at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))


class PullPrint(Base):
    """A print of a pull list, with its rows as they were then."""

    __tablename__ = "pull_print"
    __table_args__ = (Index(None, "event_id", "at"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    event_id: Mapped[UUID] = mapped_column(refers("event.id"))
    at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
    lines: Mapped[list[Any]]
