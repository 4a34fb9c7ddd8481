"""Queries for what is due, for pages and JSON: from the cache for today, from the history by the pure rule for other
days."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import SQLColumnExpression, bindparam, func, select
from sqlalchemy.orm import Session

from service.gear.models import IS_PRESENT_PLACEMENT, ITEM_IS_ASKED, Item, Placement
from service.gear.queries import NOWHERE, ItemFacts, PlaceA, item_facts
from service.kit.dates import midnight
from service.season.core import Due, DueState, due_of_lanes
from service.season.models import ItemDue
from service.season.queries import due_counts, seasons_of
from service.store.paging import beyond, cursor, position
from service.store.sessions import chunks
from service.tags.queries import codes_of
from service.testlog.core import days_by_lane
from service.testlog.queries import events, suspected


@dataclass(frozen=True)
class DueRow:
    """An item with its code and its due state."""

    item: ItemFacts
    code: str
    due: Due


Page = tuple[list[DueRow], str | None]
"""Some rows, and the cursor of the next page."""


def by_state(
    db: Session,
    on: date,
    today: date,
    zone: ZoneInfo,
    size: int,
    wanted: Sequence[DueState],
    after: str | None,
) -> tuple[dict[DueState, int], dict[DueState, Page]]:
    """Counts of all states, and of each wanted state its first items after a cursor, the soonest due first."""
    key = None if after is None else tuple(position(after, date, UUID))
    if on == today:
        counts = due_counts(db)
        dues_by_state = {state: _cached(db, state, size + 1, key) for state in wanted}
    else:
        dues = reckoned(db, on, zone)
        counts = {state: sum(due.state is state for due in dues.values()) for state in DueState}
        dues_by_state = {state: _first(dues, state, size + 1, key) for state in wanted}
    ids = [item_id for dues in dues_by_state.values() for item_id in dues]
    items, codes = _facts(db, ids)
    return counts, {state: _page(dues, items, codes, size) for state, dues in dues_by_state.items()}


_IN_WALK: list[SQLColumnExpression[Any]] = [
    func.coalesce(PlaceA.walk_order, NOWHERE),
    func.coalesce(PlaceA.name, ""),
    ItemDue.item_id,
]
# For all due items only the sort keys are read; what is shown, only for those on the page. Built once for all pages.
_WALK = (
    select(ItemDue.item_id, ItemDue.state, ItemDue.due_by, ItemDue.round)
    .outerjoin(Placement, (Placement.item_id == ItemDue.item_id) & IS_PRESENT_PLACEMENT)
    .outerjoin(PlaceA, PlaceA.id == Placement.place_a_id)
    .where(ItemDue.state.in_(bindparam("wanted", expanding=True)))
    .order_by(*_IN_WALK)
    .limit(bindparam("most"))
)


def walk(db: Session, wanted: Collection[DueState], size: int, after: str | None) -> Page:
    """Today's items in the wanted states, in walking order."""
    query = _WALK if after is None else _WALK.where(beyond(_IN_WALK, position(after, int, str, UUID)))
    rows = db.connection().execute(query, {"wanted": list(wanted), "most": size + 1})
    dues = {row.item_id: Due(DueState(row.state), row.due_by, row.round) for row in rows}
    items, codes = _facts(db, list(dues))
    lines = [DueRow(items[one], codes.get(one, ""), due) for one, due in dues.items()]
    return _cut(lines, size)


def walk_through(
    db: Session, dues: dict[UUID, Due], wanted: Collection[DueState], size: int, after: str | None
) -> Page:
    """The same for due states that were computed as of another day."""
    ids = [item_id for item_id, due in dues.items() if due.state in wanted]
    items, codes = _facts(db, ids)
    lines = sorted((DueRow(items[one], codes.get(one, ""), dues[one]) for one in ids), key=_place_in_walk)
    if after:
        reached = tuple(position(after, int, str, UUID))
        lines = [line for line in lines if _place_in_walk(line) > reached]
    return _cut(lines[: size + 1], size)


def reckoned(db: Session, on: date, zone: ZoneInfo) -> dict[UUID, Due]:
    """The due state by the rule, as of a day, of every item that has to be tested today."""
    query = select(Item.id, Item.in_service_on).where(ITEM_IS_ASKED)
    since = {row.id: row.in_service_on for row in db.execute(query)}
    due_of = {}
    for ids in chunks(since):
        histories, answers_to = events(db, ids), seasons_of(db, ids)
        suspects = suspected(db, ids, midnight(on + timedelta(days=1), zone))
        for item_id in ids:
            lanes = days_by_lane(histories[item_id], suspects.get(item_id, frozenset()), zone)
            due_of[item_id] = due_of_lanes(answers_to[item_id], since[item_id], lanes, on)
    return due_of


def _cached(db: Session, state: DueState, most: int, after: Sequence[object] | None) -> dict[UUID, Due]:
    order: list[SQLColumnExpression[Any]] = [func.coalesce(ItemDue.due_by, date.max), ItemDue.item_id]
    query = select(ItemDue.item_id, ItemDue.due_by, ItemDue.round).where(ItemDue.state == state)
    if after:
        query = query.where(beyond(order, after))
    rows = db.execute(query.order_by(*order).limit(most))
    return {item_id: Due(state, due_by, number) for item_id, due_by, number in rows}


def _first(dues: dict[UUID, Due], state: DueState, most: int, after: Sequence[object] | None) -> dict[UUID, Due]:
    keys = sorted(((due.due_by or date.max, item_id) for item_id, due in dues.items() if due.state is state))
    later = [item_id for at, item_id in keys if after is None or (at, item_id) > tuple(after)]
    return {item_id: dues[item_id] for item_id in later[:most]}


def _facts(db: Session, item_ids: list[UUID]) -> tuple[dict[UUID, ItemFacts], dict[UUID, str]]:
    items: dict[UUID, ItemFacts] = {}
    codes: dict[UUID, str] = {}
    for ids in chunks(item_ids):
        items |= item_facts(db, ids)
        codes |= codes_of(db, ids)
    return items, codes


def _page(dues: dict[UUID, Due], items: dict[UUID, ItemFacts], codes: dict[UUID, str], size: int) -> Page:
    lines = [DueRow(items[item_id], codes.get(item_id, ""), due) for item_id, due in list(dues.items())[:size]]
    last = lines[-1] if len(dues) > size else None
    return lines, cursor(last.due.due_by or date.max, last.item.id) if last else None


def _cut(lines: list[DueRow], size: int) -> Page:
    shown = lines[:size]
    return shown, cursor(*_place_in_walk(shown[-1])) if len(lines) > size else None


def _place_in_walk(line: DueRow) -> tuple[int, str, UUID]:
    return line.item.walk_order, line.item.place, line.item.id
