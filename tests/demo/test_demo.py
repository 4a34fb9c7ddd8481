"""The demo: a program in mid-season, the same every time but for the date."""

import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from sqlalchemy import select

from service.demo.actions import load
from service.demo.gear import NEW_ITEMS, OWNED
from service.gear.models import Item
from service.season.models import Event, ItemDue
from service.store.sessions import Store
from service.tags.models import Tag
from service.testlog.marks.queries import undecided
from service.testlog.models import FaultRow, Test
from service.testlog.queries import events
from tests.support.demo import demo_file
from tests.support.program import START, migrated

LATER = datetime(2027, 3, 2, 16, 30, tzinfo=UTC)


def loaded(url: str, now: datetime = START) -> Store:
    """The demo in a new database."""
    migrated(url)
    store = Store(url)
    assert "Fernhollow" in load(store, now)
    return store


def told(store: Store) -> dict[str, Any]:
    """What the demo holds, without its dates."""
    with store.reading() as db:
        return {
            "items": sorted((str(item.id), item.state) for item in db.scalars(select(Item))),
            "codes": sorted(db.scalars(select(Tag.code))),
            "tests": sorted(map(str, db.execute(select(Test.wiring, Test.verdict, Test.joined)))),
            "due": sorted(map(str, db.execute(select(ItemDue.item_id, ItemDue.state)))),
            "faults": sorted(map(str, db.execute(select(FaultRow.fault_class, FaultRow.conductors)))),
        }


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """The demo on SQLite."""
    store = Store(f"sqlite:///{shutil.copy(demo_file(), tmp_path_factory.mktemp('demo'))}")
    yield store
    store.close()


def test_it_is_a_program_in_mid_season(demo: Store) -> None:
    with demo.reading() as db:
        states = set(db.scalars(select(Item.state)))
        due = set(db.scalars(select(ItemDue.state)))
        classes = set(db.scalars(select(FaultRow.fault_class)))
        ahead = [(event.on - START.date()).days for event in db.scalars(select(Event))]
        lines = [row.id for row in db.scalars(select(Item).where(Item.wiring.startswith("8p8c")))]
        reached = [event for history in events(db, lines).values() for event in history if not event.alone]
        waiting = undecided(db, 10)
    assert [event.proves for event in reached] == [{"1", "2", "3"}] * 3
    assert [(test.verdict, by) for test, by, _ in waiting] == [("pass", "Juno")]
    assert states == {"in_service", "spare", "quarantined", "in_repair", "retired", "lost"}
    assert due == {"current", "due", "overdue", "untested", "blocked"}
    assert {"open", "short", "intermittent", "damage"} <= classes
    assert 12 in ahead
    assert 80 <= sum(one.count for one in [*OWNED, NEW_ITEMS]) <= 100


@pytest.mark.postgres
def test_it_is_the_same_on_another_day_and_engine(demo: Store, postgres_url: str) -> None:
    other = loaded(postgres_url, LATER)
    assert told(demo) == told(other)
    other.close()


def test_a_program_that_is_there_already_is_left_alone(demo: Store) -> None:
    before = told(demo)
    assert "not loaded" in load(demo, START)
    assert told(demo) == before
