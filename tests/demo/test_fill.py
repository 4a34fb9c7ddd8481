"""`coilbook fill`: as many as asked, the same for the same seed, and nothing left for housekeeping to do."""

from datetime import UTC, datetime

import pytest
from sqlalchemy import func, select

from service.chores import CHORES
from service.demo.fill import fill
from service.gear.core import ItemState
from service.gear.models import Item
from service.kit.problems import Invalid
from service.season.models import ItemDue
from service.store.sessions import Store
from service.tags.models import Tag
from service.testlog.core import fault_of, state_after
from service.testlog.housekeeping import keep_house, verify
from service.testlog.models import FaultRow, Test, TestItem
from service.testlog.queries import events
from tests.support.program import migrated

NOW = datetime(2026, 10, 14, 16, 30, tzinfo=UTC)


def filled(url: str, items: int, tests: int, seed: int = 1) -> Store:
    migrated(url)
    store = Store(url)
    assert f"{items:,} items and {tests:,} tests" in fill(store, items, tests, seed, NOW)
    return store


def test_it_is_what_was_asked_and_follows_from_history(database_url: str) -> None:
    store = filled(database_url, 120, 1000)
    with store.reading() as db:
        assert db.scalar(select(func.count()).select_from(Item)) == 120
        assert db.scalar(select(func.count()).select_from(Test)) == 1000
        assert db.scalar(select(func.count()).select_from(TestItem)) == 1000
        assert db.scalar(select(func.count()).select_from(FaultRow))
        assert set(db.scalars(select(ItemDue.state))) >= {"current", "due", "blocked"}
        items = db.scalars(select(Item)).all()
        histories = events(db, [item.id for item in items])
    for item in items:
        home = ItemState.SPARE if item.state == ItemState.SPARE else ItemState.IN_SERVICE
        assert item.state == state_after(home, home, fault_of([]), fault_of(histories[item.id]))
    assert verify(store, NOW) == []
    assert "; flags raised or cleared: 0;" in keep_house(store, NOW, CHORES)
    store.close()


def test_a_batch_may_have_tests_and_no_fault(database_url: str) -> None:
    store = filled(database_url, 120, 2, 5)
    with store.reading() as db:
        assert db.scalar(select(func.count()).select_from(Test)) == 2
        assert db.scalar(select(func.count()).select_from(FaultRow)) == 0
    assert verify(store, NOW) == []
    store.close()


def test_the_seed_decides(sqlite_url: str) -> None:
    def told(seed: int, name: str) -> list[tuple[str, str]]:
        store = filled(sqlite_url.replace("coilbook", name), 30, 100, seed)
        with store.reading() as db:
            codes = db.scalars(select(Tag.code).order_by(Tag.code)).all()
            tests = db.scalars(select(Test.id).order_by(Test.id)).all()
        store.close()
        return list(zip(codes, map(str, tests), strict=False))

    assert told(1, "one") == told(1, "again")
    assert told(1, "first") != told(2, "other")


def test_it_leaves_a_program_alone_and_refuses_nonsense(sqlite_url: str) -> None:
    store = filled(sqlite_url, 1, 0)
    assert "nothing was filled in" in fill(store, 5, 5, 1, NOW)
    for items, tests in ((0, 10), (2_000_000, 0), (5, -1)):
        with pytest.raises(Invalid, match="must be from"):
            fill(store, items, tests, 1, NOW)
    with store.reading() as db:
        assert db.scalar(select(func.count()).select_from(Item)) == 1
    store.close()
