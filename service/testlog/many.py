"""Logging many tests at once, from a sheet of years: each is written like any other, and what follows from history
follows once for every item, when all of its history is there.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.core import Who
from service.store.chunks import chunks
from service.testlog import queries
from service.testlog.core import NewTest, corrected
from service.testlog.following import Cause, follow, hold
from service.testlog.models import Repair
from service.testlog.writing import add, written


@dataclass(frozen=True)
class Past:
    """What happened to one item: a test of it alone, or a repair; `item` is its id."""

    item: UUID
    test: NewTest | None = None
    repair: Repair | None = None


def log_past(
    db: Session, past: Sequence[Past], who: Who | None, now: datetime, zone: ZoneInfo, reason: str
) -> None:
    """Log tests and repairs of earlier days, in whatever order they come; `reason` is kept with changes of state.

    Raises:
        Invalid: with the field and what is wrong with it.
    """
    by_item: dict[UUID, list[Past]] = defaultdict(list)
    for one in past:
        by_item[one.item].append(one)
    for ids in chunks(sorted(by_item)):
        items, before = hold(db, ids)
        made = [
            written(db, one.test, [item], who, now, corrected(one.test.tested_at, one.test.sent_at, now))
            for item in items
            for one in by_item[item.id]
            if one.test
        ]
        add(db, made)
        db.add_all(one.repair for item in items for one in by_item[item.id] if one.repair)
        db.flush()
        after = before | queries.events(db, ids)
        follow(db, items, before, after, dict.fromkeys(before, Cause(who, reason)), now, zone)
