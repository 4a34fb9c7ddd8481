"""Logging many past tests and repairs at once, from an imported sheet.

Each is written like any other, but the effects are applied once for every item, when all of its history is there.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.core import Who
from service.gear import queries as gear_queries
from service.gear.core import ItemState
from service.gear.models import Item
from service.season.core import What
from service.store.drafts import FollowUp
from service.store.sessions import chunks
from service.testlog import queries
from service.testlog.core import LogEntry, NewTest, corrected, doubted, in_time_order
from service.testlog.effects import Cause, apply_effects, lock_together, lock_with_histories, next_state
from service.testlog.logging_tests import TestRows, add_rows, make_rows
from service.testlog.models import Repair, WrongMark
from service.testlog.queries import last_swaps


@dataclass(frozen=True)
class Past:
    """A past test of an item, which may have gone `through` other items too (their ids), or a past repair. The tester
    may have `marked` the test as wrong.
    """

    item: UUID
    test: NewTest | None = None
    repair: Repair | None = None
    through: tuple[UUID, ...] = ()
    marked: WrongMark | None = None


TOGETHER = 20
"""How many items one follow-up is of: some tens of milliseconds."""


def log_past(
    db: Session, past: Sequence[Past], who: Who | None, now: datetime, zone: ZoneInfo, reason: str
) -> list[FollowUp]:
    """Log tests and repairs of earlier days, in whatever order they come; `reason` is kept with changes of state.

    Returns:
        what is still to follow for their items.

    Raises:
        Invalid: with the field and what is wrong with it.
    """
    by_id = {item.id: item for ids in chunks(_items_of(past)) for item in lock_together(db, ids)}
    add_rows(db, [_make_rows(db, one.test, _tested(one, by_id), who, now) for one in past if one.test])
    db.add_all(row for one in past for row in (one.repair, one.marked) if row)
    db.flush()
    new = {entry.id for one in past for entry in (one.test, one.repair) if entry}
    return [
        FollowUp(queries.tested_with(db, ids), partial(_follow, ids, new, Cause(who, reason), now, zone))
        for ids in chunks(_items_of(past), TOGETHER)
    ]


def _follow(
    item_ids: list[UUID], new: Collection[UUID], cause: Cause, now: datetime, zone: ZoneInfo, db: Session
) -> None:
    """Let follow what these new entries change."""
    items, after = lock_with_histories(db, item_ids)
    before = {item_id: [entry for entry in history if entry.entry not in new] for item_id, history in after.items()}
    apply_effects(db, items, before, after, dict.fromkeys(after, cause), now, zone)


def foreseen(db: Session, past: Sequence[Past], now: datetime) -> dict[UUID, ItemState]:
    """The states that the items would have after `log_past`. Nothing is written."""
    items = {item.id: item for ids in chunks(_items_of(past)) for item in gear_queries.items(db, ids)}
    before, after = queries.events(db, items), defaultdict[UUID, list[LogEntry]](list)
    for one in past:
        if one.test:
            made = _make_rows(db, one.test, _tested(one, items), None, now)
            for item_id, event in made.events.items():
                after[item_id].append(doubted(event) if one.marked else event)
        if one.repair:
            after[one.item].append(LogEntry(one.repair.at, What.REPAIR, one.repair.id))
    swapped = last_swaps(db, list(items))
    return {
        item.id: next_state(
            db,
            item,
            before[item.id],
            in_time_order([*before[item.id], *after[item.id]]),
            swapped.get(item.id),
        )
        for item in items.values()
    }


def _make_rows(db: Session, test: NewTest, items: Sequence[Item], who: Who | None, now: datetime) -> TestRows:
    return make_rows(db, test, items, who, now, corrected(test.tested_at, test.sent_at, now))


def _items_of(past: Sequence[Past]) -> list[UUID]:
    return sorted({item_id for one in past for item_id in (one.item, *one.through)})


def _tested(one: Past, items: Mapping[UUID, Item]) -> list[Item]:
    return [items[item_id] for item_id in (one.item, *one.through)]
