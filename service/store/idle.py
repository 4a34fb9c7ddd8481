"""The inputs of a chore when it last found nothing to do: while they are unchanged, the chore is skipped.

The inputs are compared by a digest that costs little beside the chore itself: a table to which rows are only added
contributes its row count (`row_count`), any other its columns, which the database concatenates (`concatenated`).
"""

import hashlib
from typing import Any

from sqlalchemy import ColumnElement, Select, String, Text, cast, func, literal, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import InstrumentedAttribute, Mapped, Session, mapped_column

from service.store.base import Base


class IdleChore(Base):
    """A chore that found nothing to do, and the digest of its inputs then (`rests_on`)."""

    __tablename__ = "idle_chore"

    name: Mapped[str] = mapped_column(primary_key=True)
    rests_on: Mapped[str]


_SET = {
    dialect.dialect.name: (new := dialect.insert(IdleChore)).on_conflict_do_update(
        index_elements=[IdleChore.name], set_={"rests_on": new.excluded.rests_on}
    )
    for dialect in (sqlite, postgresql)
}


def is_idle(db: Session, name: str, rests_on: str) -> bool:
    """Whether a chore found nothing to do when its inputs last had this digest."""
    return db.scalar(select(IdleChore.rests_on).where(IdleChore.name == name)) == rests_on


def set_idle(db: Session, name: str, rests_on: str) -> None:
    """Record that a chore found nothing to do with inputs of this digest. Two processes may do so at once."""
    db.execute(_SET[db.get_bind().dialect.name], {"name": name, "rests_on": rests_on})


def row_count(table: type[Base]) -> Select[int]:
    """A query for the number of rows of a table."""
    return select(func.count()).select_from(table)


def concatenated(*columns: InstrumentedAttribute[Any]) -> Select[str]:
    """A query for these columns of all rows as one text.

    Rows in another order make another text; then the chore runs once without need.
    """
    words: list[ColumnElement[str]] = [func.coalesce(cast(column, String), "") for column in columns]
    row = words[0]
    for word in words[1:]:
        row = row + literal(" ", Text()) + word
    return select(func.aggregate_strings(row, "\n"))


def digest(db: Session, *queries: Select[Any], and_also: object = None) -> str:
    """A digest (SHA-256, hexadecimal) of the single value of each query, and of `and_also`."""
    values = [db.scalar(query) for query in queries]
    return hashlib.sha256(repr((values, and_also)).encode()).hexdigest()
