"""Tables of the season: seasons, rounds, events, the items of each season, and the cached due state."""

from datetime import date, datetime
from enum import StrEnum
from uuid import UUID

from sqlalchemy import CheckConstraint, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from service.season.core import DueState
from service.store.base import Base, BigInt, Revised, one_of, refers


class EventKind(StrEnum):
    """The kind of an event."""

    COMPETITION = "competition"
    SHOW = "show"


class SeasonRow(Revised, Base):
    """A season, with its first and last day (included). Its revision also counts changes of its rounds."""

    __tablename__ = "season"
    __table_args__ = (CheckConstraint("ends >= starts", name="in_order"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    name: Mapped[str]
    starts: Mapped[date]
    ends: Mapped[date]
    created_at: Mapped[datetime]


class RoundRow(Base):
    """A round of a season, half-open: `closes` is the first day that no longer counts."""

    __tablename__ = "round"
    __table_args__ = (
        UniqueConstraint("season_id", "number"),
        CheckConstraint("closes > opens", name="in_order"),
    )

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    season_id: Mapped[UUID] = mapped_column(refers("season.id"))
    number: Mapped[int]
    opens: Mapped[date]
    closes: Mapped[date]


class Event(Revised, Base):
    """A competition or a show."""

    __tablename__ = "event"
    __table_args__ = (one_of("kind", EventKind),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    season_id: Mapped[UUID] = mapped_column(refers("season.id"), index=True)
    name: Mapped[str]
    kind: Mapped[str]
    on: Mapped[date] = mapped_column(index=True)
    created_at: Mapped[datetime]


class ItemSeason(Base):
    """An item belongs to a season: it has to pass in each of its rounds."""

    __tablename__ = "item_season"

    item_id: Mapped[UUID] = mapped_column(refers("item.id"), primary_key=True)
    season_id: Mapped[UUID] = mapped_column(refers("season.id"), primary_key=True, index=True)


class ItemDue(Base):
    """The due state of an item: a cache, which can be recomputed from history at any time.

    `changes_on` is the first day on which the state would change with nothing logged. `last_*` speak of the tests
    that stand (not voided).
    """

    __tablename__ = "item_due"
    __table_args__ = (
        one_of("state", DueState),
        Index(None, "state", "due_by", "item_id"),
        Index(None, "changes_on"),
    )

    item_id: Mapped[UUID] = mapped_column(refers("item.id"), primary_key=True)
    state: Mapped[str]
    due_by: Mapped[date | None]
    round: Mapped[int | None]
    changes_on: Mapped[date | None]
    last_tested_at: Mapped[datetime | None]
    last_verdict: Mapped[str | None]
    last_passed_at: Mapped[datetime | None]
