"""The declarative base, which names every constraint, so that migrations can refer to it."""

from datetime import date, datetime
from enum import StrEnum
from typing import Any
from uuid import UUID

from sqlalchemy import BigInteger, CheckConstraint, Date, ForeignKey, Integer, MetaData, String, Uuid, event
from sqlalchemy.orm import DeclarativeBase, Mapped, Mapper, mapped_column, object_session

from service.store.engine import Instant, NullableJson

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Base(DeclarativeBase):
    """Base of every table."""

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map = {  # noqa: RUF012  (SQLAlchemy reads the class attribute)
        str: String(),
        int: Integer(),
        date: Date(),
        datetime: Instant(),
        UUID: Uuid(),
        dict[str, Any]: NullableJson(),
        list[Any]: NullableJson(),
    }


class Revised:
    """A row that records how often it was changed since it was made, and when last, for subscribed calendars.

    `revision` is increased with every change of the row; `changed_at` is None until the first change.
    """

    revision: Mapped[int] = mapped_column(default=0)
    changed_at: Mapped[datetime | None]


@event.listens_for(Revised, "before_update", propagate=True)
def _count_revision(_mapper: Mapper[Any], _connection: Any, row: Any) -> None:
    session = object_session(row)
    if session is not None and session.is_modified(row):
        row.revision += 1


BigInt = BigInteger().with_variant(Integer(), "sqlite")
"""An autoincrement integer key: SQLite numbers plain INTEGER keys only."""


def one_of(column: str, words: type[StrEnum]) -> CheckConstraint:
    """A named CHECK constraint: the column holds one of the enum's values."""
    listed = ", ".join(f"'{word.value}'" for word in words)
    return CheckConstraint(f'"{column}" IN ({listed})', name=column)


def refers(key: str) -> ForeignKey:
    """A foreign key with RESTRICT: a row that is referred to cannot be deleted, so that history stays complete."""
    return ForeignKey(key, ondelete="RESTRICT")
