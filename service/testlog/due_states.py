"""Due states as housekeeping computes them: of many items, in a session that only reads, and cached a moment later.

Logging anything about an item writes its due state in the same transaction instead (`effects.write_due_states`).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import update
from sqlalchemy.orm import Session

from service.gear import queries as gear_queries
from service.gear.models import Item
from service.season import queries as seasons
from service.season.core import Season
from service.season.models import ItemDue
from service.store.sessions import chunks
from service.testlog.effects import columns_of, set_due
from service.testlog.queries import events, lock_items, suspected


@dataclass(frozen=True)
class ReckonedDue:
    """Computed due states: by item the `columns` to cache, and the inputs that they depend on (`rests_on`)."""

    columns: Mapping[UUID, Mapping[str, Any]]
    rests_on: Mapping[UUID, object]


def reckon_due(db: Session, item_ids: Sequence[UUID], today: date, zone: ZoneInfo) -> ReckonedDue:
    """What `refresh_due_states` would cache for these items; nothing is written."""
    items = gear_queries.items(db, item_ids)
    histories, suspects, answers_to = events(db, item_ids), suspected(db, item_ids), seasons.seasons_of(db, item_ids)
    columns = columns_of(items, answers_to, histories, suspects, today, zone)
    return ReckonedDue(columns, _rests_on(items, answers_to, seasons.due_rows(db, item_ids)))


def set_reckoned(db: Session, reckoned: ReckonedDue) -> int:
    """Cache due states computed before this transaction, for the items whose inputs are unchanged; return how many.

    Logging anything about an item writes its due state, which is one of the inputs, so that is noticed too.
    """
    ids = list(reckoned.rests_on)
    items, cached = lock_items(db, ids), seasons.due_rows(db, ids)
    now_on = _rests_on(items, seasons.seasons_of(db, ids), cached)
    same = [item for item in items if now_on[item.id] == reckoned.rests_on[item.id]]
    set_due(db, same, reckoned.columns, cached)
    return len(same)


def _rests_on(
    items: Sequence[Item], answers_to: Mapping[UUID, Sequence[Season]], cached: Mapping[UUID, ItemDue]
) -> dict[UUID, object]:
    """The inputs of due states besides history: the item's state and first day, its seasons, and its cached row."""
    return {
        item.id: (item.state, item.in_service_on, answers_to[item.id], _values(cached.get(item.id))) for item in items
    }


def _values(row: ItemDue | None) -> object:
    return row and [getattr(row, column.key) for column in ItemDue.__table__.columns]


def let_run_out(db: Session, item_ids: Iterable[UUID], today: date) -> None:
    """Expire the cached due states of these items: housekeeping recomputes them, a few at a time."""
    for ids in chunks(item_ids):
        db.execute(update(ItemDue).where(ItemDue.item_id.in_(ids)).values(changes_on=today))
