"""Housekeeping goes in small steps: others write in between, it may be stopped after any, and pages wait for none."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime
from threading import Event
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlalchemy import event, select
from sqlalchemy.orm import Session

from service.chores import CHORES
from service.gear.actions import NewItem, add_items, add_note
from service.gear.models import Note
from service.retire.standings import housekeeping as standings
from service.season.models import ItemDue
from service.store.sessions import Store
from service.testlog.housekeeping import STEP, Chore, Interrupted, keep_house, verify
from service.testlog.housekeeping_thread import House
from tests.support.program import Running, running
from tests.support.waiting import PATIENCE

ITEMS = 3 * STEP + 1


@pytest.fixture
def program(sqlite_url: str) -> Iterator[Running]:
    """On SQLite, where whoever writes keeps all others from writing."""
    with running(sqlite_url) as service:
        yield service


def untested(program: Running) -> list[UUID]:
    """Items without due states or flags, more than a step takes."""
    ids = [uuid4() for _ in range(ITEMS)]
    with program.store.writing() as db:
        add_items(db, NewItem("cable", "xlr3", 3048), ids, None, program.clock.now, date(2026, 9, 1))
    return ids


@contextmanager
def rows_written(store: Store) -> Iterator[list[int]]:
    """How many rows every write transaction adds or changes while the block runs."""
    before, written = dict[Any, int](), list[int]()

    def begun(connection: Any) -> None:
        driver = connection.connection.driver_connection
        before[driver] = driver.total_changes

    def ended(connection: Any) -> None:
        driver = connection.connection.driver_connection
        written.append(driver.total_changes - before[driver])

    event.listen(store.writer, "begin", begun)
    event.listen(store.writer, "commit", ended)
    yield written
    event.remove(store.writer, "begin", begun)
    event.remove(store.writer, "commit", ended)


def test_no_transaction_writes_more_than_a_step_and_another_process_writes_in_between(program: Running) -> None:
    item, *_ = untested(program)
    other, notes = Store(program.store.url), list[str]()

    def write() -> bool:
        with other.writing() as db:
            add_note(db, item, f"note {len(notes)}", None, program.clock.now)
        notes.append(f"note {len(notes)}")
        return True

    with rows_written(program.store) as written:
        # Standings are left out: 200 plain rows of them are inserted at once.
        chores = [chore for chore in CHORES if chore is not standings.REFRESH]
        said = keep_house(program.store, program.clock.now, chores, write)
    other.close()
    assert f"due states refreshed: {ITEMS}; flags raised or cleared: {ITEMS};" in said
    assert sum(written) >= 2 * ITEMS
    assert max(written) == 2 * STEP  # a due state, and the revision of its item
    with program.store.reading() as db:
        assert list(db.scalars(select(Note.text).order_by(Note.id))) == notes
    assert len(notes) >= 2 * ITEMS / STEP


def test_it_may_be_stopped_after_any_step_and_the_next_turn_goes_on(program: Running) -> None:
    untested(program)
    turns = 0
    while True:
        steps = iter([True, True, False])
        turns += 1
        try:
            keep_house(program.store, program.clock.now, CHORES, lambda: next(steps))  # noqa: B023
            break
        except Interrupted:
            with program.store.reading() as db:
                due = len(db.scalars(select(ItemDue)).all())
            assert due % STEP == 0 or due == ITEMS
            assert turns < ITEMS
    assert turns > ITEMS / STEP
    assert verify(program.store, program.clock.now) == []


def test_pages_show_what_is_stored_and_of_which_day_while_it_is_brought_up_to_date(program: Running) -> None:
    untested(program)
    program.viewer.get("/due")
    app: Any = program.viewer.app
    house, may_end = app.state.house, Event()

    def slow(_db: Session, _today: date, _now: datetime) -> int:
        assert may_end.wait(PATIENCE)
        return 0

    program.clock.ahead(days=1)
    more = untested(program)
    slowly = Chore("slow things done", lambda _store, _today: iter([slow]))
    app.state.house = House(program.store, (slowly, *CHORES), timeout=0)
    page, told = program.viewer.get("/due"), program.viewer.get("/api/v1/due").json()
    assert f"{ITEMS} of {2 * ITEMS}\n    items still to go" in page.text
    assert "of Mon Sep 21" in page.text
    assert (told["as_of"], told["left"], told["counts"]["untested"]) == ("2026-09-21", ITEMS, ITEMS)
    may_end.set()
    app.state.house.close(PATIENCE)
    app.state.house = house
    told = program.viewer.get("/api/v1/due").json()
    assert (told["as_of"], told["left"], told["counts"]["untested"]) == ("2026-09-22", 0, 2 * ITEMS)
    assert more


@pytest.mark.parametrize(("zone", "anew"), [("America/New_York", False), ("Europe/Paris", True)])
def test_a_time_zone_that_is_saved_again_resets_nothing(program: Running, zone: str, anew: bool) -> None:
    untested(program)
    keep_house(program.store, program.clock.now, CHORES)
    settings = {"name": "Fernhollow", "unit": "feet", "return_note": "", "zone": zone}
    assert program.lead.post("/settings", data=settings).status_code == 303
    said = keep_house(program.store, program.clock.now, CHORES)
    assert said.startswith(f"due states refreshed: {ITEMS if anew else 0};")
