"""Two writers at once on PostgreSQL: the second gets a sentence that says why it is refused, never an error page."""

import os
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlalchemy import Connection, select, text
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from service.crew.core import Role, Who
from service.crew.models import Person
from service.gear.models import OwnWiring
from service.kit.problems import Busy
from service.serving import first_link
from service.store.receipts import WriteRequest, once
from service.store.sessions import Store, retry_on_conflict
from service.testlog.core import NewTest
from service.testlog.housekeeping import verify
from service.testlog.logging_tests import log_test
from service.testlog.models import OwnTester
from tests.gear.test_own_wirings import TYPED, seen
from tests.support.forked import ForkedPython
from tests.support.program import START, Running, op, running
from tests.testers.test_lamps import LAMPS
from tests.testlog.support import GOOD, OPEN_2, ZONE, bench

WAITING = "SELECT count(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock' AND datname = current_database()"


@pytest.fixture
def program(postgres_url: str) -> Iterator[Running]:
    """The running service on PostgreSQL."""
    with running(postgres_url) as service:
        yield service


@contextmanager
def held(store: Store, first: Callable[[Session], object], then: Callable[[], Any]) -> Iterator[Future[Any]]:
    """Write something first, and commit it only when `then`, which runs beside, waits for it."""
    with ThreadPoolExecutor(1) as pool:
        with store.writing() as db:
            first(db)
            db.flush()
            second = pool.submit(then)
            with store.reader.connect() as looking:
                while not second.done() and not _waits(looking):
                    pass
        yield second


def _waits(connection: Connection) -> bool:
    waits = bool(connection.scalar(text(WAITING)))
    connection.rollback()  # the next look is a new one
    return waits


def test_two_leads_who_keep_the_same_wiring(program: Running) -> None:
    asked = {"op": op()} | TYPED
    shown = program.lead.post("/wirings/new", data=asked | {"do": "show"})
    asked |= {"do": "keep", "seen": seen(shown.text)}
    first = OwnWiring(key="own-short-snake", name="Short snake", spec={}, made_by=None, created_at=START)
    with held(program.store, lambda db: db.add(first), lambda: program.lead.post("/wirings/new", data=asked)) as second:
        answer = second.result()
    assert answer.status_code == 422
    assert "There is a wiring called" in answer.text


def test_two_leads_who_keep_the_same_tester(program: Running) -> None:
    first = OwnTester(
        id=UUID(op()),
        name=" ".join(LAMPS["name"].split()),
        wiring="xlr3",
        sees="straight",
        patterns={},
        probed="all",
        made_by=None,
        created_at=START,
    )
    asked = {"op": op()} | LAMPS
    with held(program.store, lambda db: db.add(first), lambda: program.lead.post("/testers/new", data=asked)) as second:
        answer = second.result()
    assert answer.status_code == 422
    assert "There is a tester called" in answer.text


def test_a_mark_that_meets_its_test_as_it_comes_in(program: Running) -> None:
    (code,), test, now = bench(program, "xlr3").codes, op(), program.clock.now
    with program.store.reading() as db:
        crew = db.scalars(select(Person).where(Person.role == Role.CREW)).one()
        tester = Who(crew.id, crew.display_name, Role.CREW)

    def log(db: Session) -> None:
        asked, new = WriteRequest(UUID(test), "test.log", [], now), NewTest(UUID(test), code, joined=GOOD)
        once(db, asked, lambda: (), lambda: log_test(db, new, tester, now, ZONE))

    sent = {"id": op(), "test": test}
    with held(program.store, log, lambda: program.crew.post("/api/v1/marks", json=sent)) as second:
        answer = second.result()
    assert (answer.status_code, answer.json()["marked"]) == (201, True)
    (line,) = program.viewer.get("/api/v1/tests").json()["items"]
    assert line["marked"]["stands"] is False


def test_two_hosts_that_start_on_an_empty_database(postgres_url: str) -> None:
    environ = os.environ | {"COILBOOK_DATABASE_URL": postgres_url}
    hosts = [ForkedPython("-m", "service", "migrate", environ=environ) for _ in range(2)]
    assert [host.wait(60) for host in hosts] == [0, 0]
    stores = [Store(postgres_url) for _ in range(2)]
    with ThreadPoolExecutor(2) as pool:
        links = list(pool.map(lambda store: first_link(store, "http://cables.test", START), stores))
    assert all(link and "/join#" in link for link in links)
    with stores[0].reading() as db:
        assert db.scalar(text("SELECT count(*) FROM program")) == 1
    for store in stores:
        store.close()


@pytest.mark.parametrize(("tested", "tries"), [("earlier", 1), ("later", 2)])
def test_a_test_that_ties_items_while_another_waits(program: Running, tested: str, tries: int) -> None:
    """Items are locked in the order of their ids. Who waited for the later one, and learns only then that an earlier
    one failed together with it, begins anew; who waited for the earlier one locks the later one too and goes on.
    """
    at = bench(program, "xlr3", "xlr3")
    earlier, later = sorted(at.codes, key=at.ids.__getitem__)
    code, other = (earlier, later) if tested == "earlier" else (later, earlier)
    now, begun = program.clock.now, []

    def fail_through_both(db: Session) -> None:
        log_test(db, NewTest(uuid4(), earlier, (later,), joined=OPEN_2), at.lead, now, ZONE)

    def test_one() -> dict[str, Any]:
        begun.append(code)
        with program.store.writing() as db:
            return log_test(db, NewTest(uuid4(), code, joined=GOOD), at.lead, now + timedelta(minutes=1), ZONE)

    with held(program.store, fail_through_both, lambda: retry_on_conflict(test_one)) as second:
        answer = second.result()
    assert answer["verdict"] == "pass"
    assert begun == [code] * tries
    assert (at.flags(code), len(at.flags(other))) == ([], 1)
    assert verify(program.store, now) == []


def test_a_write_with_repeated_conflicts_is_refused_as_busy() -> None:
    class AlreadyExists(Exception):
        sqlstate = "23505"

    tries = []

    def write(error: Exception) -> None:
        tries.append(error)
        raise IntegrityError("INSERT", None, error)

    with pytest.raises(Busy):
        retry_on_conflict(lambda: write(AlreadyExists()))
    assert len(tries) == 3
    with pytest.raises(IntegrityError):  # what others have no part in is a fault, and told as one
        retry_on_conflict(lambda: write(Exception()))
    assert len(tries) == 4


def test_a_connection_is_held_to_its_times_and_says_whose_it_is(program: Running) -> None:
    expected = {
        "application_name": "coilbook",
        "synchronous_commit": "on",
        "lock_timeout": "5s",
        "statement_timeout": "30s",
        "idle_in_transaction_session_timeout": "1min",
        "TimeZone": "UTC",
    }
    with program.store.writing() as db:
        assert {name: db.scalar(text(f"SHOW {name}")) for name in expected} == expected
