"""Receipts: a write that is sent twice happens once.

Every write carries an id made by the client. The receipt of a done write holds a digest of what was asked and the
answer that was given; the same id with the same content gets the same answer again, with other content a refusal.
Receipts are kept as long as what they made.
"""

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import bindparam, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Mapped, Session, mapped_column

from service.kit.problems import Conflict, Reused
from service.store.base import Base
from service.store.types import Facts


class Receipt(Base):
    """One done write."""

    __tablename__ = "receipt"

    id: Mapped[UUID] = mapped_column(primary_key=True)
    action: Mapped[str]
    digest: Mapped[str]
    answer: Mapped[Any] = mapped_column(Facts(), nullable=True)
    at: Mapped[datetime]


def digest(action: str, actor: str, content: Any) -> str:
    """A digest of who asked for what: the same for the same content, whatever the order of its names."""
    canonical = json.dumps([action, actor, content], sort_keys=True, default=str, ensure_ascii=False)
    return hashlib.sha256(canonical.encode()).hexdigest()


@dataclass(frozen=True)
class Asked:
    """A write under its client's id: the digest says who asked for what, and `at` when."""

    op: UUID
    digest: str
    at: datetime


class Entangled(Conflict):
    """Several writes cannot be done at once; each by itself can."""


# Every write asks these, so they are built once and run below the ORM.
_TABLE = Base.metadata.tables[Receipt.__tablename__]
_CLAIM = {
    dialect.dialect.name: dialect.insert(_TABLE)
    .on_conflict_do_nothing()
    .execution_options(preserve_rowcount=True)
    for dialect in (sqlite, postgresql)
}
_EARLIER = select(_TABLE.c.digest, _TABLE.c.answer).where(_TABLE.c.id == bindparam("op"))
_GIVE = update(_TABLE).where(_TABLE.c.id == bindparam("op"))


def once(db: Session, op: UUID, action: str, asked: str, now: datetime, do: Callable[[], Any]) -> Any:
    """Do a write and keep its receipt, or give the answer of the first time.

    The receipt is claimed before the write: of two that arrive at once the second waits until the first is committed.

    Raises:
        Reused: the id was used for something else.
    """
    if not _claimed(db, [Asked(op, asked, now)], action):
        return _answered(db, op, asked)
    answer = do()
    _give(db, {op: answer})
    return answer


def all_once(
    db: Session, asked: Sequence[Asked], action: str, do: Callable[[], Sequence[Any]]
) -> Sequence[Any]:
    """Do several writes of one kind that were never done before, and keep the receipt of each; all or none of them.

    Raises:
        Entangled: one of them was done before.
    """
    if not _claimed(db, asked, action):
        raise Entangled("One of these was done before, so each has to be sent by itself.")
    answers = do()
    _give(db, {one.op: answer for one, answer in zip(asked, answers, strict=True)})
    return answers


def _claimed(db: Session, asked: Sequence[Asked], action: str) -> bool:
    claims = [
        {"id": one.op, "action": action, "digest": one.digest, "answer": None, "at": one.at} for one in asked
    ]
    connection = db.connection()
    return connection.execute(_CLAIM[connection.dialect.name], claims).rowcount == len(claims)


def _give(db: Session, answers: Mapping[UUID, Any]) -> None:
    db.flush()
    db.connection().execute(_GIVE, [{"op": op, "answer": answer} for op, answer in answers.items()])


def _answered(db: Session, op: UUID, asked: str) -> Any:
    earlier = db.connection().execute(_EARLIER, {"op": op}).one()
    if earlier.digest != asked:
        raise Reused(
            f"The id {op} was already used for another entry. Make a new id for a new entry; "
            "the earlier one is kept as it was."
        )
    return earlier.answer
