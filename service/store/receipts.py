"""Receipts: a write that is sent twice happens once.

Every write carries an id made by the client. The receipt of a done write holds a digest of what was asked and the
answer that was given; the same id with the same content gets the same answer again, with other content a refusal.
Receipts are kept as long as what they made.
"""

import hashlib
import json
from collections.abc import Callable
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Mapped, Session, mapped_column

from service.kit.problems import Busy, Reused
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


def answered(db: Session, op: UUID, asked: str) -> Receipt | None:
    """The receipt of an earlier same request, or None.

    Raises:
        Reused: the id was used for something else.
    """
    receipt = db.scalar(select(Receipt).where(Receipt.id == op))
    if receipt is None:
        return None
    if receipt.digest != asked:
        raise Reused(
            f"The id {op} was already used for another entry. Make a new id for a new entry; "
            "the earlier one is kept as it was."
        )
    return receipt


def once(db: Session, op: UUID, action: str, asked: str, now: datetime, do: Callable[[], Any]) -> Any:
    """Do a write and keep its receipt, or give the answer of the first time.

    The receipt is claimed before the write, so that of two that arrive at once the second waits for the first, is then
    refused, and finds the receipt when it is sent again.
    """
    earlier = answered(db, op, asked)
    if earlier is not None:
        return earlier.answer
    receipt = Receipt(id=op, action=action, digest=asked, answer=None, at=now)
    db.add(receipt)
    try:
        db.flush()
    except IntegrityError as error:
        raise Busy("The same entry is being saved right now. Send it again to get its receipt.") from error
    receipt.answer = do()
    db.flush()
    return receipt.answer
