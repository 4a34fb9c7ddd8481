"""Every look-up about tags."""

from collections.abc import Collection, Sequence
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.tags.models import Tag, TagPrint


def tag(db: Session, code: str) -> Tag | None:
    """The tag of this code, whether or not it still counts."""
    return db.get(Tag, code)


def codes_of(db: Session, item_ids: Collection[UUID]) -> dict[UUID, str]:
    """The code that is on each of these items now."""
    found = db.execute(select(Tag.item_id, Tag.code).where(Tag.item_id.in_(item_ids), Tag.until.is_(None)))
    return {item_id: code for item_id, code in found if item_id is not None}


def code_of(db: Session, item_id: UUID) -> str:
    """The code that is on an item now."""
    return codes_of(db, [item_id])[item_id]


def codes_now(db: Session) -> Sequence[str]:
    """Every code that is on something now."""
    return db.scalars(select(Tag.code).where(Tag.until.is_(None))).all()


def to_print(db: Session) -> Sequence[str]:
    """Codes that wait to be printed, the first asked for first."""
    return db.scalars(
        select(TagPrint.code)
        .join(Tag, Tag.code == TagPrint.code)
        .where(TagPrint.printed_at.is_(None), Tag.until.is_(None))
        .order_by(TagPrint.id)
    ).all()
