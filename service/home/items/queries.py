"""Items with their code, place, due state and flags, a page at a time."""

from collections.abc import Collection
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Row, Select, func, or_, select
from sqlalchemy.orm import Session

from service.gear import queries as gear
from service.gear.core import FlagKind
from service.gear.models import FLAG_IS_OPEN, IS_PRESENT_PLACEMENT, Flag, Item, Place, Placement
from service.gear.queries import ItemFacts
from service.home.items.core import Filters
from service.kit.codes import read_code
from service.kit.problems import Invalid, invalid
from service.kit.quantities import parse_length
from service.season.core import DueState
from service.season.models import ItemDue
from service.store.paging import beyond, cursor, position
from service.tags.models import IS_TAG_OF_ITEM, Tag

_ORDER = (Item.kind, Item.length_mm, Item.id)
_MANY = 2000


@dataclass(frozen=True)
class ItemRow:
    """An item as lists and the API show it; `due` is None if it does not have to be tested (retired, lost)."""

    facts: ItemFacts
    code: str
    due: DueState | None
    due_by: date | None
    round: int | None
    last_tested_at: datetime | None
    last_verdict: str | None
    flags: tuple[FlagKind, ...]


def item_rows(db: Session, item_ids: Collection[UUID]) -> dict[UUID, ItemRow]:
    """These items as lists show them."""
    return {row.facts.id: row for row in _read(db, _rows().where(Item.id.in_(item_ids)))}


def page_of_items(db: Session, filters: Filters, after: str | None, size: int) -> tuple[list[ItemRow], str | None]:
    """A page of the items that meet the filters, by kind, length and id, and the cursor of the next page.

    Raises:
        Invalid: `after` is no cursor of this list, or no place has the requested name.
    """
    query = _rows().where(*_conditions(db, filters)).order_by(*_ORDER).limit(size + 1)
    if after:
        query = query.where(beyond(_ORDER, position(after, str, int, UUID)))
    rows = _read(db, query)
    if len(rows) <= size:
        return rows, None
    last = rows[size - 1].facts
    return rows[:size], cursor(last.kind, last.length_mm, last.id)


def _rows() -> Select[*tuple[object, ...]]:
    return (
        gear.facts()
        .add_columns(
            Tag.code.label("code"),
            ItemDue.state.label("due"),
            ItemDue.due_by.label("due_by"),
            ItemDue.round.label("round"),
            ItemDue.last_tested_at.label("last_tested_at"),
            ItemDue.last_verdict.label("last_verdict"),
        )
        .outerjoin(Tag, IS_TAG_OF_ITEM)
        .outerjoin(ItemDue, ItemDue.item_id == Item.id)
    )


def _read(db: Session, query: Select[*tuple[object, ...]]) -> list[ItemRow]:
    rows = db.execute(query).all()
    flags = gear.open_flags(db, [row.id for row in rows])
    return [_as_row(row, flags) for row in rows]


def _as_row(row: Row[*tuple[Any, ...]], flags: dict[UUID, list[Flag]]) -> ItemRow:
    facts = gear.as_facts(row)
    raised = tuple(dict.fromkeys(FlagKind(flag.flag) for flag in flags[facts.id]))
    due = DueState(row.due) if row.due else None
    return ItemRow(facts, row.code, due, row.due_by, row.round, row.last_tested_at, row.last_verdict, raised)


def _conditions(db: Session, filters: Filters) -> list[ColumnElement[bool]]:
    conditions: list[ColumnElement[bool]] = []
    if filters.kind:
        conditions.append(Item.kind == filters.kind)
    if filters.state:
        conditions.append(Item.state == filters.state)
    if filters.due:
        conditions.append(_stands(db, filters.due))
    if filters.flag:
        raised = select(Flag.item_id).where(Flag.flag == filters.flag, FLAG_IS_OPEN)
        conditions.append(Item.id.in_(raised))
    if filters.place:
        place = gear.place_named(db, filters.place)
        if place is None:
            raise invalid("place", f"There is no place called “{filters.place[:60]}”. The places page has them all.")
        conditions.append(_lives_at(select(Place.id).where(Place.id == place.id)))
    if filters.q:
        conditions.append(_matches(filters.q))
    return conditions


def _stands(db: Session, due: str) -> ColumnElement[bool]:
    """Items in this due state: if they are few, by the index of states; if many, by scanning the list in its order.

    SQLite has no statistics by value, and would read and sort the many for each page (120 ms for 100,000 items).
    """
    some = select(ItemDue.item_id).where(ItemDue.state == due).limit(_MANY).subquery()
    many = (db.scalar(select(func.count()).select_from(some)) or 0) == _MANY
    return (func.coalesce(ItemDue.state, "") if many else ItemDue.state) == due


def _lives_at(places: Select[UUID]) -> ColumnElement[bool]:
    """Items at one of these places: two look-ups, each with its index, since an OR of two columns uses none."""
    here = select(Placement.item_id).where(Placement.place_a_id.in_(places), IS_PRESENT_PLACEMENT)
    there = select(Placement.item_id).where(Placement.place_b_id.in_(places), IS_PRESENT_PLACEMENT)
    return Item.id.in_(here.union_all(there))


def _matches(text: str) -> ColumnElement[bool]:
    """The item with this code, now or before a retag; else items whose code begins with the text, whose label, batch
    or place contains it, or which have this length."""
    with suppress(Invalid):
        return Item.id.in_(select(Tag.item_id).where(Tag.item_id.is_not(None), Tag.code == read_code(text)))
    code = text.replace(" ", "").replace("-", "").upper()
    ways = [
        Item.id.in_(select(Tag.item_id).where(Tag.item_id.is_not(None), Tag.code.startswith(code, autoescape=True))),
        Item.label.icontains(text, autoescape=True),
        Item.batch.icontains(text, autoescape=True),
        _lives_at(select(Place.id).where(Place.name.icontains(text, autoescape=True))),
    ]
    with suppress(Invalid):  # most searches are not a length
        ways.append(Item.length_mm == parse_length(text))
    return or_(*ways)
