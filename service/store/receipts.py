"""Receipts make writes idempotent: a write that is sent twice happens once.

Every write carries an operation id made by the client. The receipt of a write holds a digest of the request's content
and the answer. The same id with the same content gets the same answer again, whoever sends it; with other content it
is refused. Receipts are kept as long as what they made.

A row may exist without a receipt: the demo's rows, and what a sheet brought in. A request under the id of such a row is
refused too, unless the caller can tell that the row is what was requested.
"""

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import bindparam, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Mapped, Session, mapped_column

from service.kit.problems import Conflict, Reused
from service.store.base import Base
from service.store.engine import NullableJson


class Receipt(Base):
    """The receipt of one write."""

    __tablename__ = "receipt"

    id: Mapped[UUID] = mapped_column(primary_key=True)
    action: Mapped[str]
    digest: Mapped[str]
    answer: Mapped[Any] = mapped_column(NullableJson(), nullable=True)
    at: Mapped[datetime]


def digest(action: str, content: Any) -> str:
    """A digest of the content of a request, independent of the order of its keys."""
    return _digest([action, content])


def digest_with_actor(action: str, actor: UUID, content: Any) -> str:
    """The digest of older receipts, which also covers who sent the request."""
    return _digest([action, str(actor), content])


def _digest(content: list[Any]) -> str:
    canonical = json.dumps(content, sort_keys=True, default=str, ensure_ascii=False)
    return hashlib.sha256(canonical.encode()).hexdigest()


@dataclass(frozen=True)
class WriteRequest:
    """A write under its client's id: its action and content, and when it was requested (`at`)."""

    op: UUID
    action: str
    content: Any
    at: datetime

    @property
    def digest(self) -> str:
        """The digest in its receipt."""
        return digest(self.action, self.content)


class NotBatchable(Conflict):
    """Several writes cannot be done in one batch, but each can be done by itself."""


class AlreadyExists(Reused):
    """A row without a receipt already has this id."""


def reused(op: UUID, kind: type[Reused] = Reused) -> Reused:
    """The refusal of an id that was used for something else."""
    sentence = (
        f"The id {op} was already used for another entry. Make a new id for a new entry; "
        "the earlier one is kept as it was."
    )
    return kind(sentence, {"id": sentence})


# Every write runs these queries, so they are built once and run without the ORM.
_TABLE = Base.metadata.tables[Receipt.__tablename__]
_CLAIM = {
    dialect.dialect.name: dialect.insert(_TABLE).on_conflict_do_nothing().execution_options(preserve_rowcount=True)
    for dialect in (sqlite, postgresql)
}
_EARLIER = select(_TABLE.c.digest, _TABLE.c.answer).where(_TABLE.c.id == bindparam("op"))
_GIVE = update(_TABLE).where(_TABLE.c.id == bindparam("op"))


def once(db: Session, request: WriteRequest, people: Callable[[], Iterable[UUID]], do: Callable[[], Any]) -> Any:
    """Do a write and store its receipt, or return the first answer again.

    The receipt is inserted before the write: if two arrive at once, the second waits until the first is committed.

    Args:
        people: the ids of everybody who may have sent it the first time, since older receipts also cover the sender.

    Raises:
        Reused: the id was used for something else.
        AlreadyExists: the row that it would make exists under this id, without a receipt.
    """
    if not _claimed(db, [request]):
        return _answered(db, request, people)
    try:
        answer = do()
        db.flush()
    except IntegrityError as error:
        if _id_taken(error):
            raise reused(request.op, AlreadyExists) from error
        raise
    _give(db, {request.op: answer})
    return answer


def is_done(db: Session, op: UUID) -> bool:
    """Whether a write was done under this id."""
    return db.connection().execute(_EARLIER, {"op": op}).first() is not None


def answer_to(db: Session, op: UUID, action: str) -> Any:
    """The answer of the write of this action under this id; None if there was none."""
    return db.connection().scalar(select(_TABLE.c.answer).where(_TABLE.c.id == op, _TABLE.c.action == action))


def all_once(db: Session, requests: Sequence[WriteRequest], do: Callable[[], Sequence[Any]]) -> Sequence[Any]:
    """Do several new writes of one kind and store a receipt for each; all or none of them.

    Raises:
        NotBatchable: one of them was done before.
    """
    if not _claimed(db, requests):
        raise NotBatchable("One of these was done before, so each has to be sent by itself.")
    answers = do()
    db.flush()
    _give(db, {each.op: answer for each, answer in zip(requests, answers, strict=True)})
    return answers


def block(db: Session, op: UUID, action: str, now: datetime) -> None:
    """Block an id: later writes with it are refused, and what was written with it stays."""
    connection = db.connection()
    claim = {"id": op, "action": action, "digest": "", "answer": None, "at": now}
    connection.execute(_CLAIM[connection.dialect.name], [claim])


def _claimed(db: Session, requests: Sequence[WriteRequest]) -> bool:
    claims = [
        {"id": each.op, "action": each.action, "digest": each.digest, "answer": None, "at": each.at}
        for each in requests
    ]
    connection = db.connection()
    return connection.execute(_CLAIM[connection.dialect.name], claims).rowcount == len(claims)


def _give(db: Session, answers: Mapping[UUID, Any]) -> None:
    db.connection().execute(_GIVE, [{"op": op, "answer": answer} for op, answer in answers.items()])


def _answered(db: Session, request: WriteRequest, people: Callable[[], Iterable[UUID]]) -> Any:
    earlier = db.connection().execute(_EARLIER, {"op": request.op}).one()
    if earlier.digest != request.digest and not any(
        earlier.digest == digest_with_actor(request.action, person, request.content) for person in people()
    ):
        raise reused(request.op)
    return earlier.answer


def _id_taken(error: IntegrityError) -> bool:
    """Whether the error means that a row was inserted under an id that its table already has."""
    constraint = getattr(getattr(error.orig, "diag", None), "constraint_name", None)  # PostgreSQL
    refusal = constraint or str(error.orig)
    keys = ((name, list(table.primary_key.columns.keys())) for name, table in Base.metadata.tables.items())
    return any(
        key == ["id"] and refusal in (f"pk_{name}", f"UNIQUE constraint failed: {name}.id") for name, key in keys
    )
