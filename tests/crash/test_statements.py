"""Each write is all or nothing: whichever of its statements fails, or its commit, the database is as it was before."""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import httpx2
import pytest
from sqlalchemy import event
from sqlalchemy.exc import OperationalError

from service.store.sessions import Store
from service.tables import metadata
from tests.support.program import op, running
from tests.testlog.support import OPEN_2, Bench, bench

Write = Callable[[Bench, str], httpx2.Response]
DONE = (201, 303)


def dump(store: Store) -> dict[str, list[str]]:
    """Every row of every table."""
    with store.reading() as db:
        return {table.name: sorted(map(repr, db.execute(table.select()))) for table in metadata.sorted_tables}


@contextmanager
def failing_at(store: Store, statement: int) -> Iterator[None]:
    """Let the n-th statement of the writer fail; its commit counts as one."""
    seen = 0

    def fail(*_: Any) -> None:
        nonlocal seen
        seen += 1
        if seen == statement:
            raise OperationalError("a statement", None, OSError("disk I/O error"))

    names = ("before_cursor_execute", "commit")
    for name in names:
        event.listen(store.writer, name, fail)
    try:
        yield
    finally:
        for name in names:
            event.remove(store.writer, name, fail)


def log_a_test(at: Bench, entry: str) -> httpx2.Response:
    sent = {"id": entry, "item": at.codes[0], "joined": OPEN_2}
    return at.program.crew.post("/api/v1/tests", json=sent)


def add_items(at: Bench, entry: str) -> httpx2.Response:
    sent = {"id": entry, "kind": "cable", "wiring": "xlr3", "length": "10 ft", "place": "Frame 3", "count": 3}
    return at.program.lead.post("/api/v1/items", json=sent)


def repair(at: Bench, entry: str) -> httpx2.Response:
    return at.program.crew.post(f"/t/{at.codes[1]}/repair", data={"op": entry, "what": "new plug", "end": "B"})


def swap(at: Bench, entry: str) -> httpx2.Response:
    sent = {"id": entry, "bad": at.codes[0], "spare": at.codes[2], "anyway": True}
    return at.program.crew.post("/api/v1/swaps", json=sent)


def suspect(at: Bench, entry: str) -> httpx2.Response:
    return at.program.crew.post("/api/v1/suspects", json={"id": entry, "item": at.codes[0]})


def open_a_session(at: Bench, entry: str) -> httpx2.Response:
    on = at.program.clock.now.date().isoformat()
    sent = {"op": entry, "on": on, "title": "Thursday", "why": ["untested"], "place": ""}
    return at.program.lead.post("/sessions", data=sent)


def close_a_session(at: Bench, entry: str) -> httpx2.Response:
    [session] = set(re.findall("/sessions/[0-9a-f-]{36}", at.program.lead.get("/sessions").text))
    return at.program.lead.post(f"{session}/close", data={"op": entry, "note": "Two are left."})


WRITES: tuple[Write, ...] = (log_a_test, repair, add_items, open_a_session, close_a_session, suspect, swap)


def failed_at_each_statement(at: Bench, write: Write) -> int:
    """Do a write, failing at its first statement, its second, … until it gets through; how often it failed."""
    store, entry, before = at.program.store, op(), dump(at.program.store)
    for statement in range(1, 500):
        with failing_at(store, statement):
            answer = write(at, entry)
        if answer.status_code in DONE:
            break
        assert answer.status_code == 503, answer.text
        assert answer.headers["Retry-After"]
        assert dump(store) == before
    after = dump(store)
    assert after != before
    again = write(at, entry)  # what got through is there once
    assert (again.status_code, again.text) == (answer.status_code, answer.text)
    assert dump(store) == after
    return statement - 1


def test_each_write_is_all_or_nothing(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        at = bench(program, "xlr3", "xlr3", "xlr3")
        program.lead.get("/")  # the day's housekeeping is done
        for write in WRITES:
            assert failed_at_each_statement(at, write) >= 5, write.__name__
            program.clock.ahead(minutes=2)  # nobody saves as fast as this


@pytest.mark.postgres
def test_so_it_is_on_postgres(postgres_url: str) -> None:
    with running(postgres_url) as program:
        at = bench(program, "xlr3")
        assert failed_at_each_statement(at, log_a_test) >= 5


def test_what_would_leave_half_of_it_is_caught(sqlite_url: str) -> None:
    def in_two_halves(at: Bench, entry: str) -> httpx2.Response:
        log_a_test(at, op())
        return repair(at, entry)

    with running(sqlite_url) as program:
        at = bench(program, "xlr3", "xlr3")
        with pytest.raises(AssertionError):
            failed_at_each_statement(at, in_two_halves)
