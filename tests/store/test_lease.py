"""Leases: one holder at a time, given back, lapsing by themselves, on both engines."""

import signal
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from pathlib import Path
from threading import Barrier, Semaphore

import pytest
from sqlalchemy import select

from service.store import lease
from service.store.lease import LASTS, RENEWED, TRIED, Lease, hold_lease, release_lease, take_lease
from service.store.sessions import Store
from tests.support.program import START, Clock, Running
from tests.support.waiting import PATIENCE

ROOT = Path(__file__).parents[2]

# Holds the lease, says so, and waits to be killed.
HOLDER = """
import sys
from datetime import datetime
from service.store.lease import hold_lease
from service.store.sessions import Store
with hold_lease(Store(sys.argv[1]), "work", lambda: datetime.fromisoformat(sys.argv[2])) as is_ours:
    print("held" if is_ours else "not held", flush=True)
    sys.stdin.read()
"""


def leases(store: Store) -> list[tuple[str, str]]:
    with store.reading() as db:
        return [(row.name, row.holder) for row in db.scalars(select(Lease))]


def test_one_holds_it_until_it_is_given_back(program: Running) -> None:
    store = program.store
    assert take_lease(store, "work", "first", START)
    assert not take_lease(store, "work", "second", START)
    assert take_lease(store, "other work", "second", START)
    release_lease(store, "work", "second")  # not theirs to give
    assert not take_lease(store, "work", "second", START)
    release_lease(store, "work", "first")
    assert take_lease(store, "work", "second", START)


def test_it_lapses_unless_it_is_renewed(program: Running) -> None:
    store = program.store
    assert take_lease(store, "work", "first", START)
    assert not take_lease(store, "work", "second", START + LASTS - timedelta(seconds=1))
    assert take_lease(store, "work", "first", START + LASTS / 2)
    assert not take_lease(store, "work", "second", START + LASTS)
    assert take_lease(store, "work", "second", START + 1.5 * LASTS)
    assert not take_lease(store, "work", "first", START + 1.5 * LASTS)  # so the first one learns that it lost it


def test_a_holder_renews_it_as_long_as_it_works_and_learns_that_it_lost_it(
    program: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lease, "RENEWED", timedelta(milliseconds=20))
    now, asked = START, Semaphore(0)

    def clock() -> datetime:
        asked.release()
        return now

    with hold_lease(program.store, "work", clock) as is_ours:
        assert is_ours is not None
        now += LASTS / 2
        for _ in range(3):  # taken, and renewed at least once since
            assert asked.acquire(timeout=PATIENCE)
        assert not take_lease(program.store, "work", "second", START + LASTS)
        with program.store.writing() as db:
            db.get_one(Lease, "work").holder = "second"
        for thread in threading.enumerate():
            if thread.name == "lease of work":
                thread.join(PATIENCE)
        assert not is_ours()
    assert leases(program.store) == [("work", "second")]


def test_one_that_is_dated_in_the_future_counts_for_its_length_from_now(program: Running) -> None:
    store = program.store
    assert take_lease(store, "work", "by a wrong clock", START + timedelta(days=400))
    assert not take_lease(store, "work", "second", START)
    assert not take_lease(store, "work", "second", START + LASTS - timedelta(seconds=1))
    assert take_lease(store, "work", "second", START + LASTS)


def test_after_a_kill_the_next_one_has_it_within_a_minute() -> None:
    assert timedelta(minutes=1) > LASTS + TRIED
    assert 2 * RENEWED < LASTS  # one that comes late or not at all does no harm


def test_a_block_holds_it_and_leaves_nothing_behind(program: Running) -> None:
    clock = Clock()
    with hold_lease(program.store, "work", clock) as is_ours:
        assert is_ours is not None
        assert is_ours()
        with hold_lease(program.store, "work", clock) as other:
            assert other is None
        assert len(leases(program.store)) == 1
    assert leases(program.store) == []


def test_of_many_at_once_one_gets_it(program: Running) -> None:
    stores = [Store(program.store.url) for _ in range(8)]
    together = Barrier(len(stores))

    def ask(number: int) -> bool:
        together.wait()
        return take_lease(stores[number], "work", str(number), START)

    with ThreadPoolExecutor(len(stores)) as pool:
        got = list(pool.map(ask, range(len(stores))))
    assert got.count(True) == 1
    assert leases(program.store) == [("work", str(got.index(True)))]
    for store in stores:
        store.close()


def test_that_of_a_killed_holder_passes_on(program: Running) -> None:
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLDER, program.store.url, START.isoformat()],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        holder.send_signal(signal.SIGKILL)
    assert not take_lease(program.store, "work", "next", START + LASTS / 2)
    assert take_lease(program.store, "work", "next", START + LASTS)
