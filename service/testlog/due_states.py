"""Due states reckoned by housekeeping: of many items, in a session that only reads, and cached a moment later.

What is logged of an item writes its due state in the same transaction instead (`effects.write_due_states`).
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
    """Due states of some items as reckoned from what was there: by item what is to be cached, and what it rests on."""

    columns: Mapping[UUID, Mapping[str, Any]]
    rests_on: Mapping[UUID, object]


def reckon_due(db: Session, item_ids: Sequence[UUID], today: date, zone: ZoneInfo) -> ReckonedDue:
    """What `refresh_due_states` would cache of these items; nothing is written."""
    items = gear_queries.items(db, item_ids)
    histories, suspects, answers_to = events(db, item_ids), suspected(db, item_ids), seasons.seasons_of(db, item_ids)
    columns = columns_of(items, answers_to, histories, suspects, today, zone)
    return ReckonedDue(columns, _rests_on(items, answers_to, seasons.due_rows(db, item_ids)))


def set_reckoned(db: Session, reckoned: ReckonedDue) -> int:
    """Cache due states that were reckoned before this transaction, of those items of which all is still so; how many.

    Whatever is logged of an item writes its due state anew, so that shows, too.
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
    """What due states rest on besides history: the item's state and first day, its seasons, and what is cached."""
    return {
        item.id: (item.state, item.in_service_on, answers_to[item.id], _values(cached.get(item.id))) for item in items
    }


def _values(row: ItemDue | None) -> object:
    return row and [getattr(row, column.key) for column in ItemDue.__table__.columns]


def let_run_out(db: Session, item_ids: Iterable[UUID], today: date) -> None:
    """Let what is cached of these items be good no longer: housekeeping reckons it anew, a few at a time."""
    for ids in chunks(item_ids):
        db.execute(update(ItemDue).where(ItemDue.item_id.in_(ids)).values(changes_on=today))
