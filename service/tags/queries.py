"""Every look-up about tags."""

from collections.abc import Collection, Sequence
from datetime import datetime
from uuid import UUID

from sqlalchemy import Row, func, select, update
from sqlalchemy.orm import Session

from service.gear.models import Item
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


def to_draw(db: Session, codes: Sequence[str]) -> Sequence[Row[str, str, int]]:
    """Code, kind and length of the items with these codes, in the same order; of all items where none is named."""
    query = select(Tag.code, Item.kind, Item.length_mm).join(Item, Item.id == Tag.item_id)
    if not codes:
        return db.execute(
            query.where(Tag.until.is_(None)).order_by(Item.kind, Item.length_mm, Tag.code)
        ).all()
    found = {row.code: row for row in db.execute(query.where(Tag.code.in_(codes)))}
    return [found[code] for code in dict.fromkeys(codes)]


def waiting(db: Session, most: int) -> Sequence[Row[TagPrint, str, int]]:
    """The first tags of items that wait to be printed, with kind and length, the first asked for first."""
    return db.execute(
        select(TagPrint, Item.kind, Item.length_mm)
        .join(Tag, Tag.code == TagPrint.code)
        .join(Item, Item.id == Tag.item_id)
        .where(TagPrint.printed_at.is_(None), Tag.until.is_(None))
        .order_by(TagPrint.id)
        .limit(most)
    ).all()


def how_many_wait(db: Session) -> int:
    """How many tags of items wait to be printed."""
    query = (
        select(func.count())
        .select_from(TagPrint)
        .join(Tag, Tag.code == TagPrint.code)
        .where(TagPrint.printed_at.is_(None), Tag.until.is_(None), Tag.item_id.is_not(None))
    )
    return db.scalar(query) or 0


def is_waiting(db: Session, code: str) -> bool:
    """Whether this code waits to be printed."""
    asked = select(TagPrint.id).where(TagPrint.code == code, TagPrint.printed_at.is_(None))
    return db.scalar(asked.limit(1)) is not None


def end_wait(db: Session, codes: Collection[str], now: datetime) -> int:
    """Note that these codes were printed; how many of them waited."""
    done = db.execute(
        update(TagPrint).where(TagPrint.code.in_(codes), TagPrint.printed_at.is_(None)).values(printed_at=now)
    )
    return int(done.rowcount)  # type: ignore[attr-defined]
