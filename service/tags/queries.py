"""Every query about tags."""

from collections.abc import Collection, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Row, Select, Uuid, bindparam, func, select, update
from sqlalchemy.orm import Session

from service.gear.models import PLACE_IN_USE, Item, Place
from service.kit.codes import read_code
from service.kit.problems import Gone, Invalid, NotFound, invalid
from service.store.sessions import chunks
from service.tags.models import TAG_IN_USE, WAITS_FOR_PRINT, LabelSheet, Tag, TagPrint, TagPrinter

_CODES = select(Tag.item_id, Tag.code).where(
    Tag.item_id.in_(bindparam("items", expanding=True, type_=Uuid())), TAG_IN_USE
)


_TAGS = select(Tag).where(Tag.code.in_(bindparam("codes", expanding=True)))


def tag(db: Session, code: str) -> Tag | None:
    """The tag of this code, whether or not it still counts."""
    return db.get(Tag, code)


def tags(db: Session, codes: Collection[str]) -> Sequence[Tag]:
    """The existing tags of these codes, whether or not they still count."""
    return db.scalars(_TAGS, {"codes": list(codes)}).all()


def known(db: Session, codes: Collection[str]) -> set[str]:
    """Those of these codes that are or were on something."""
    return {code for some in chunks(codes) for code in db.scalars(select(Tag.code).where(Tag.code.in_(some)))}


def codes_of(db: Session, item_ids: Collection[UUID]) -> dict[UUID, str]:
    """The code that is on each of these items now."""
    rows = db.execute(_CODES, {"items": list(item_ids)})
    return {item_id: code for item_id, code in rows if item_id is not None}


def code_of(db: Session, item_id: UUID) -> str:
    """The code that is on an item now."""
    return codes_of(db, [item_id])[item_id]


def codes_now(db: Session) -> Sequence[str]:
    """Every code that is on something now."""
    return db.scalars(select(Tag.code).where(TAG_IN_USE)).all()


@dataclass(frozen=True)
class OnTag:
    """What a tag is on, for printing: `kind` is "" for a place, whose name is its `label`; lengths in millimeters."""

    code: str
    kind: str
    length_mm: int
    label: str
    wiring: str
    why: str = ""


def _on_tags() -> Select[str, str | None, int | None, str | None, str | None, str | None]:
    return (
        select(Tag.code, Item.kind, Item.length_mm, Item.label, Item.wiring, Place.name.label("place"))
        .select_from(Tag)
        .outerjoin(Item, Item.id == Tag.item_id)
        .outerjoin(Place, Place.id == Tag.place_id)
    )


def _as_on_tag(row: Row[*tuple[Any, ...]]) -> OnTag:
    name = row.place or row.label or ""
    return OnTag(row.code, row.kind or "", row.length_mm or 0, name, row.wiring or "", getattr(row, "why", ""))


def to_draw(db: Session, codes: Sequence[str]) -> list[OnTag]:
    """What these codes are on, in the same order; without codes, every item that has a tag."""
    if not codes:
        now = _on_tags().where(TAG_IN_USE, Tag.item_id.is_not(None))
        return [_as_on_tag(row) for row in db.execute(now.order_by(Item.kind, Item.length_mm, Tag.code))]
    by_code = {row.code: _as_on_tag(row) for row in db.execute(_on_tags().where(Tag.code.in_(codes)))}
    return [by_code[code] for code in dict.fromkeys(codes)]


def waiting(db: Session, most: int) -> list[OnTag]:
    """The first tags that wait to be printed, the oldest request first."""
    query = (
        _on_tags()
        .add_columns(TagPrint.why)
        .join(TagPrint, TagPrint.code == Tag.code)
        .where(WAITS_FOR_PRINT, TAG_IN_USE)
    )
    return [_as_on_tag(row) for row in db.execute(query.order_by(TagPrint.id).limit(most))]


def how_many_wait(db: Session) -> int:
    """How many tags wait to be printed."""
    query = (
        select(func.count())
        .select_from(TagPrint)
        .join(Tag, Tag.code == TagPrint.code)
        .where(WAITS_FOR_PRINT, TAG_IN_USE)
    )
    return db.scalar(query) or 0


def is_waiting(db: Session, code: str) -> bool:
    """Whether this code waits to be printed."""
    query = select(TagPrint.id).where(TagPrint.code == code, WAITS_FOR_PRINT)
    return db.scalar(query.limit(1)) is not None


def end_wait(db: Session, codes: Collection[str], now: datetime) -> int:
    """Record that these codes were printed, and return how many of them waited."""
    done = db.execute(update(TagPrint).where(TagPrint.code.in_(codes), WAITS_FOR_PRINT).values(printed_at=now))
    return int(done.rowcount)  # type: ignore[attr-defined]


def places_with_tags(db: Session) -> Sequence[Row[Place, str | None]]:
    """All places in walking order, without removed ones, each with its code now."""
    on = (Tag.place_id == Place.id) & TAG_IN_USE
    now = select(Place, Tag.code).outerjoin(Tag, on).where(PLACE_IN_USE)
    return db.execute(now.order_by(Place.walk_order, Place.name)).all()


def tag_of_place(db: Session, place_id: UUID) -> Tag | None:
    """The tag that is on a place now."""
    return db.scalar(select(Tag).where(Tag.place_id == place_id, TAG_IN_USE))


def label_sheets(db: Session) -> Sequence[LabelSheet]:
    """The program's own label sheets that are still offered."""
    query = select(LabelSheet).where(LabelSheet.ended_at.is_(None))
    return db.scalars(query.order_by(LabelSheet.created_at, LabelSheet.id)).all()


def printer(db: Session) -> TagPrinter | None:
    """The printer as it was last measured."""
    return db.scalar(select(TagPrinter).order_by(TagPrinter.id.desc()).limit(1))


def tag_on(db: Session, typed: str) -> Tag:
    """The tag that a typed or scanned code names, ended or not.

    Raises:
        Invalid: it cannot be a code, with the reason.
        NotFound: it could be, but is on nothing here.
    """
    code = read_code(typed)
    named = tag(db, code)
    if named is None:
        raise NotFound(f"{code} is not a tag of this program. Check it against the printed code, or ask your lead.")
    return named


def tags_on(db: Session, typed: Iterable[str]) -> Sequence[Tag]:
    """The tags of these codes, in one query; empty codes and codes on nothing are skipped.

    As long as these are held on to, `tag_on` finds them without asking again.
    """
    codes = []
    for text in typed:
        with suppress(Invalid):
            codes.append(read_code(text))
    return tags(db, codes)


def item_with(db: Session, typed: str, *, ended: bool = False) -> Item:
    """The item that a typed or scanned code is on; with `ended`, also by a code that a retag has ended.

    Raises:
        Invalid, NotFound: as `tag_on`.
        Gone: the code was replaced.
    """
    return db.get_one(Item, item_id_with(db, typed, ended=ended))


def item_id_with(db: Session, typed: str, *, ended: bool = False) -> UUID:
    """The id of the item, as `item_with`."""
    tag = tag_on(db, typed)
    if tag.item_id is None:
        raise NotFound(f"{tag.code} is the tag of a place, not of an item. Scan an item's own tag.")
    if not ended:
        refuse_ended(tag)
    return tag.item_id


def refuse_ended(tag: Tag) -> None:
    """Refuse a tag that has ended.

    Raises:
        Gone: it was replaced, or its place was removed.
    """
    if tag.until is not None and tag.place_id is not None:
        raise Gone(f"The tag {tag.code} was on a place that was removed. Take it off.")
    if tag.until is not None:
        raise Gone(f"The tag {tag.code} was replaced by a new one. Take the old tag off, and scan the new one.")


def named_item(db: Session, code: str, field: str) -> Item:
    """The item that a code is on, or was on before a retag.

    Raises:
        Invalid: for `field`, with the reason.
    """
    return db.get_one(Item, named_id(db, code, field))


def named_id(db: Session, code: str, field: str) -> UUID:
    """The id of the item, as `named_item`."""
    try:
        return item_id_with(db, code, ended=True)
    except (Invalid, NotFound) as refusal:
        raise invalid(field, refusal.detail) from refusal
