"""A cache of the log by item. Only items about which something was logged since are read again.

The log is only added to: no test, repair, void or mark is ever changed or taken away. So as long as there are as many
of each about an item, they are the same ones, and counting them, from indexes alone, says whether all is as it was.
"""

from collections import Counter
from collections.abc import Callable, Collection, Mapping
from typing import TypeVar
from uuid import UUID

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from service.store.sessions import cached, chunks, reads_only
from service.testlog.core import LogEntry
from service.testlog.models import MarkStands, Repair, TestItem, Void, WrongMark
from service.testlog.queries import events

T = TypeVar("T")
Size = tuple[int, int, int]
"""How many tests, repairs and words about tests (voids, marks, and what leads say of those) an item has."""

_TESTS = select(TestItem.item_id, func.count()).group_by(TestItem.item_id)
_REPAIRS = select(Repair.item_id, func.count()).group_by(Repair.item_id)
_WORDS = [
    select(TestItem.item_id, func.count()).join(word, word.test_id == TestItem.test_id).group_by(TestItem.item_id)
    for word in (Void, WrongMark, MarkStands)
]


def histories(db: Session) -> Mapping[UUID, list[LogEntry]]:
    """The history of every item about which anything was logged, in time order, as `queries.events` tells it."""
    return of_each_item(db, "histories", events)


def of_each_item(
    db: Session, name: str, read: Callable[[Session, Collection[UUID]], Mapping[UUID, T]]
) -> dict[UUID, T]:
    """The result of `read` for every item in the log, by item. Items without a result are left out.

    Args:
        name: the name of the cache.
        read: reads it anew of some items. It may depend on nothing but their tests, repairs, and words about tests.
    """
    # First the counts: what is read after them may hold more than they say, and is then read again next time.
    sizes, memory = _sizes(db), cached(db, name)
    # Looked up once: another thread, whose session is older or newer, may put its own there meanwhile.
    known: dict[UUID, tuple[Size | None, T | None]]
    known = {item_id: memory.get(item_id, (None, None)) for item_id in sizes}
    grown = [item_id for item_id, size in sizes.items() if known[item_id][0] != size]
    fresh: dict[UUID, T] = {}
    for ids in chunks(grown):
        fresh |= read(db, ids)
    anew = {item_id: (sizes[item_id], fresh.get(item_id)) for item_id in grown}
    memory.update(anew)
    known.update(anew)
    return {item_id: fact for item_id, (_, fact) in known.items() if fact is not None}


_SIZES = "sizes of the log"


def _sizes(db: Session) -> dict[UUID, Size]:
    """How much the log has about each item; counted once in a session that only reads."""
    if not reads_only(db):
        return _counts(db)
    if _SIZES not in db.info:
        db.info[_SIZES] = _counts(db)
    sizes: dict[UUID, Size] = db.info[_SIZES]
    return sizes


def _counts(db: Session) -> dict[UUID, Size]:
    tests, repairs = (Counter(_counted(db, query)) for query in (_TESTS, _REPAIRS))
    words = sum((Counter(_counted(db, query)) for query in _WORDS), Counter[UUID]())
    return {item_id: (tests[item_id], repairs[item_id], words[item_id]) for item_id in tests.keys() | repairs.keys()}


def _counted(db: Session, query: Select[UUID, int]) -> dict[UUID, int]:
    return {item_id: count for item_id, count in db.connection().execute(query)}  # noqa: C416  (a row is no pair)
