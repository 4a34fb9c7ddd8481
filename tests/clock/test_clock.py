"""The clock: a turn by whoever comes first, harmless by how many soever, as a process and beside the service."""

import logging
import os
import signal
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from datetime import UTC, date, datetime, timedelta
from logging.handlers import QueueHandler
from pathlib import Path
from queue import SimpleQueue
from threading import Event

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from service import clock
from service.app import create_app
from service.crew.models import Program
from service.gear.models import Flag
from service.season.models import ItemDue
from service.settings import Settings
from service.store.idle import IdleChore
from service.store.lease import LASTS, release_lease, take_lease
from service.store.sessions import Store
from service.tables import metadata
from service.testlog.housekeeping import Chore, verify
from service.testlog.housekeeping_thread import LEASE
from tests.support.forked import ForkedPython
from tests.support.program import Running, running
from tests.support.waiting import PATIENCE
from tests.testlog.support import OPEN_2, Bench, bench

ROOT = Path(__file__).parents[2]


@pytest.fixture
def said() -> Iterator[SimpleQueue[logging.LogRecord]]:
    """What the clock writes into its log, as it comes."""
    heard: SimpleQueue[logging.LogRecord] = SimpleQueue()
    handler = QueueHandler(heard)
    clock.LOG.addHandler(handler)
    clock.LOG.setLevel(logging.INFO)
    yield heard
    clock.LOG.setLevel(logging.NOTSET)
    clock.LOG.removeHandler(handler)


def turn(program: Running) -> str | None:
    return clock.turn(program.store, Settings(), program.clock)


def busy_bench(program: Running) -> Bench:
    """Two items that passed, one that failed, one that was never tested."""
    at = bench(program, *["xlr3"] * 4)
    for code in at.codes[:3]:
        at.test(code)
    at.test(at.codes[2], OPEN_2)
    return at


def dump(program: Running) -> dict[str, Sequence[str]]:
    """Every row of every table, but for what tells which chores had nothing to do: that only spares work."""
    with program.store.reading() as db:
        tables = [table for table in metadata.sorted_tables if table.name != IdleChore.__tablename__]
        rows = {table.name: db.execute(select(table)).all() for table in tables}
    return {name: sorted(map(repr, found)) for name, found in rows.items()}


def flags(program: Running) -> list[Flag]:
    with program.store.reading() as db:
        return list(db.scalars(select(Flag).order_by(Flag.item_id, Flag.flag, Flag.id)))


def test_once_or_often_leaves_the_same_database(program: Running) -> None:
    busy_bench(program)
    turn(program)
    program.clock.ahead(days=40)  # into the second round
    never = dump(program)
    turn(program)
    once = dump(program)
    assert once != never
    turn(program)
    twice = dump(program)
    for _ in range(3):
        turn(program)
    assert once == twice == dump(program)
    up = sorted(flag.flag for flag in flags(program) if flag.cleared_at is None)
    assert up == ["at_risk", "at_risk", "blocked", "due", "due", "untested"]


@pytest.mark.parametrize("days", [1, 14, 26, 60])
def test_days_off_are_caught_up_with(program: Running, days: int) -> None:
    """One turn after days off leaves up what a turn on each of those days would have, with the same periods."""
    busy_bench(program)
    start = program.clock.now
    ways = []
    for turns in ([days], range(days + 1)):
        with program.store.writing() as db:  # nobody has kept house yet
            db.execute(delete(Flag))
            db.execute(delete(ItemDue))
            db.get_one(Program, 1).housekept_on = None
        for day in turns:
            program.clock.now = start + timedelta(days=day)
            turn(program)
        assert verify(program.store, program.clock.now) == []
        ways.append([(flag.item_id, flag.flag, flag.period) for flag in flags(program) if not flag.cleared_at])
    assert ways[0] == ways[1] != []


def test_of_eight_at_once_one_keeps_house_and_seven_leave_while_it_does(
    program: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The chore ends only when seven have left, so none of them waited for it."""
    seven_left, done = Event(), []

    def slow(_db: Session, today: date, _now: datetime) -> int:
        assert seven_left.wait(60)
        done.append(today)
        return 1

    monkeypatch.setattr(clock, "CHORES", (Chore("slow things done", lambda _store, _today: iter([slow])),))
    stores = [Store(program.store.url) for _ in range(8)]
    with ThreadPoolExecutor(8) as pool:
        turns = [pool.submit(clock.turn, store, Settings(), program.clock) for store in stores]
        said = []
        for ended in as_completed(turns):
            said.append(ended.result())
            if len(said) == 7:
                seven_left.set()
    assert said[:7] == [None] * 7
    assert said[7] is not None
    assert done == [date(2026, 9, 21)]
    for store in stores:
        store.close()


def test_a_turn_that_never_ended_holds_up_the_next_for_as_long_as_its_lease(program: Running) -> None:
    assert take_lease(program.store, LEASE, "killed", program.clock.now)
    assert turn(program) is None
    program.clock.now += LASTS
    assert str(turn(program)).startswith("due states refreshed: 0; flags raised or cleared: 0; ")


def command(url: str, *words: str) -> ForkedPython:
    return ForkedPython("-m", "service", *words, environ=os.environ | {"COILBOOK_DATABASE_URL": url}, pipes=True)


def test_eight_commands_at_once_raise_each_flag_once(program: Running) -> None:
    bench(program, *["xlr3"] * 4)
    commands = [command(program.store.url, "housekeeping") for _ in range(8)]
    ended = [(*each.communicate(), each.returncode) for each in commands]
    assert {status for _, _, status in ended} == {0}
    assert {errors for _, errors, _ in ended} <= {"", f"coilbook: {clock.WAITING}\n"}
    assert sum("refreshed: 4; " in words for words, _, _ in ended) == 1
    assert [flag.flag for flag in flags(program)] == ["untested"] * 4


def test_as_a_process_it_takes_a_turn_at_once_and_ends_when_told(program: Running) -> None:
    bench(program, "xlr3")
    process = command(program.store.url, "clock")
    try:
        assert "due states refreshed: 1; flags raised or cleared: 1;" in process.read_error()
    finally:
        process.send_signal(signal.SIGTERM)
    process.communicate()
    assert process.returncode == 0
    assert [flag.flag for flag in flags(program)] == ["untested"]


def test_beside_the_service_it_takes_a_turn_at_once(program: Running, said: SimpleQueue[logging.LogRecord]) -> None:
    bench(program, "xlr3")
    settings = Settings(database_url=program.store.url)
    app = create_app(settings, beside=lambda store: clock.running(store, settings))
    with TestClient(app, "http://localhost") as service:
        assert "refreshed: 1;" in said.get(timeout=60).getMessage()
        assert service.get("/readyz").status_code == 200


def test_who_finds_another_at_it_comes_again_before_the_next_hour(
    program: Running, said: SimpleQueue[logging.LogRecord], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What another process began and was killed at is not left until then."""
    monkeypatch.setattr(clock, "TRIED", timedelta(milliseconds=20))
    bench(program, "xlr3")
    assert take_lease(program.store, LEASE, "killed", clock.now())
    with clock.running(program.store, Settings()):
        assert said.get(timeout=PATIENCE).getMessage() == clock.ELSEWHERE
        release_lease(program.store, LEASE, "killed")
        assert "refreshed: 1;" in said.get(timeout=PATIENCE).getMessage()


def test_a_single_turn_waits_for_its_own(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        bench(program, "xlr3")
        told = list[str]()
        assert take_lease(program.store, LEASE, "another", program.clock())

        def wait(_seconds: float) -> None:
            release_lease(program.store, LEASE, "another")

        report = clock.turn_in_time(program.store, Settings(), told.append, program.clock, wait)
        assert "refreshed: 1;" in report
        assert told == [clock.WAITING]


def test_a_single_turn_does_not_wait_for_ever(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        program.clock.now = begun = clock.now()

        def wait(_seconds: float) -> None:  # the other one goes on and on
            program.clock.now += timedelta(minutes=1)
            assert take_lease(program.store, LEASE, "another", program.clock())

        assert take_lease(program.store, LEASE, "another", begun)
        with pytest.raises(clock.HouseTaken, match="stop it if not"):
            clock.turn_in_time(program.store, Settings(), list[str]().append, program.clock, wait)
        assert program.clock.now - begun == clock.WAITS


def test_what_keeps_a_turn_from_being_taken_is_told_and_the_clock_goes_on(
    tmp_path: Path, said: SimpleQueue[logging.LogRecord]
) -> None:
    store = Store(f"sqlite:///{tmp_path / 'no_tables.db'}")
    with clock.running(store, Settings()):
        told = said.get(timeout=PATIENCE)
    assert told.levelno == logging.WARNING
    assert "The next turn catches up." in told.getMessage()
    store.close()


def test_the_timer_makes_up_for_missed_turns_and_names_no_place_of_one_machine() -> None:
    folder = ROOT / "deploy" / "systemd"
    timer = (folder / "coilbook-housekeeping.timer").read_text()
    service = (folder / "coilbook-housekeeping.service").read_text()
    assert "Persistent=true" in timer.splitlines()
    assert "coilbook housekeeping" in service
    settings = [line for line in service.splitlines() if not line.startswith("#")]
    assert [line for line in settings if "=/" in line and "/bin/sh" not in line] == []


def test_nothing_is_kept_in_a_naive_moment() -> None:
    assert clock.now().tzinfo is UTC
