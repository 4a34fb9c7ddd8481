"""What a chore looked at when it last found nothing to do: while that is the same, it need not look again.

A chore names what it looks at by a digest that costs little beside the chore itself: of tables to which rows are only
added how many there are (`counted`), of others their columns, which the database joins into one text (`joined`).
"""

import hashlib
from typing import Any

from sqlalchemy import ColumnElement, Select, String, Text, cast, func, literal, select
from sqlalchemy.orm import InstrumentedAttribute, Mapped, Session, mapped_column

from service.store.base import Base


class IdleChore(Base):
    """A chore that found nothing to do, and the digest of what it looked at."""

    __tablename__ = "idle_chore"

    name: Mapped[str] = mapped_column(primary_key=True)
    rests_on: Mapped[str]


def is_idle(db: Session, name: str, rests_on: str) -> bool:
    """Whether a chore found nothing to do when it last looked at this."""
    return db.scalar(select(IdleChore.rests_on).where(IdleChore.name == name)) == rests_on


def set_idle(db: Session, name: str, rests_on: str) -> None:
    """A chore looked at this and found nothing to do."""
    db.merge(IdleChore(name=name, rests_on=rests_on))


def counted(table: type[Base]) -> Select[int]:
    """How many rows a table has."""
    return select(func.count()).select_from(table)


def joined(*columns: InstrumentedAttribute[Any]) -> Select[str]:
    """These columns of all rows as one text. Rows in another order make another text, and only cost another look."""
    words: list[ColumnElement[str]] = [func.coalesce(cast(column, String), "") for column in columns]
    row = words[0]
    for word in words[1:]:
        row = row + literal(" ", Text()) + word
    return select(func.aggregate_strings(row, "\n"))


def digest(db: Session, *queries: Select[Any], and_also: object = None) -> str:
    """A digest of the single value that each query answers, and of what is given beside."""
    values = [db.scalar(query) for query in queries]
    return hashlib.sha256(repr((values, and_also)).encode()).hexdigest()
