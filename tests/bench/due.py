"""How fast the due list is over a long history: `.venv/bin/python -m tests.bench.due [--items N] [--tests N]`.

Fills a database by `coilbook fill` (100,000 items and 2,000,000 tests take about four minutes and 2 GB), then asks
for the counts and for the first pages, each several times; the same again with a tenth of the tests, since the time
should follow what is due and not history. The targets are 50 ms for a first page and 300 ms for the counts.
"""

import argparse
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.queries import program_facts
from service.demo.fill import fill
from service.home.due.queries import by_state, walk
from service.kit.dates import local_date
from service.season.core import DueState
from service.season.queries import due_counts
from service.store import migrate
from service.store.sessions import Store

TIMES = 7
ASKS = (DueState.OVERDUE, DueState.DUE)


def main() -> None:
    """Fill, measure, and print a table."""
    parser = argparse.ArgumentParser(description="Measure the due list over a long history.")
    parser.add_argument("--items", type=int, default=100_000)
    parser.add_argument("--tests", type=int, default=2_000_000)
    options = parser.parse_args()
    for tests in (options.tests // 10, options.tests):
        with tempfile.TemporaryDirectory() as folder:
            measure(Path(folder) / "filled.db", options.items, tests)


def measure(file: Path, items: int, tests: int) -> None:
    """A database filled with so much, and how long each look at it takes."""
    url = f"sqlite:///{file}"
    migrate.upgrade(url)
    store = Store(url)
    began = time.perf_counter()
    print(fill(store, items, tests, 1, datetime.now(UTC)), f"({time.perf_counter() - began:.0f} s)")
    with store.reading() as db:
        facts = program_facts(db)
    assert facts is not None
    zone = ZoneInfo(facts.zone)
    today = local_date(datetime.now(UTC), zone)
    with store.reading() as db:
        asked = sum(count for state, count in due_counts(db).items() if state in ASKS)
    print(f"{asked:,} items are due or overdue")
    took(store, "counts", due_counts)
    took(store, "first page, soonest due first", lambda db: by_state(db, today, today, zone, 50, ASKS, None))
    took(store, "first page, in walking order", lambda db: walk(db, ASKS, 50, None))
    store.close()


def took(store: Store, name: str, ask: Callable[[Session], object]) -> None:
    """Print how long asking takes: the first time, and the median."""
    times = []
    for _ in range(TIMES):
        with store.reading() as db:
            began = time.perf_counter()
            ask(db)
            times.append((time.perf_counter() - began) * 1000)
    print(f"  {name:32} first {times[0]:7.1f} ms, median {median(times):7.1f} ms")


if __name__ == "__main__":
    main()
