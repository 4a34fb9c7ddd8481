"""How long each chore and each import holds the write lock: `.venv/bin/python -m tests.bench.locks [--tests N]`.

Over 2,000 items and N tests on SQLite, in one process and with nobody else about. Printed are, for each, how long it
took in all, how many write transactions that were, and how long the longest of them held the lock, from its BEGIN to
the end of its COMMIT: by the clock, and in processor time, which is what counts on a machine that does other things,
too. The target: none longer than 250 ms.
"""

import argparse
import os
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlalchemy import select, update

from service import clock
from service.crew.models import Program
from service.exchange.files import import_file
from service.exchange.sheets.actions import Answers
from service.gear.core import ItemState
from service.gear.models import Item
from service.season.models import ItemDue
from service.settings import Settings
from service.store.sessions import FairLock, Store
from service.tags.models import Tag
from tests.bench.running import coilbook

ITEMS, ROWS = 2000, 5000


def main() -> None:
    """Do each once, over a fresh copy of the same database, and print a line for each."""
    parser = argparse.ArgumentParser(description="Measure how long the write lock is held.")
    parser.add_argument("--tests", type=int, default=100_000, help="how many tests there are")
    parser.add_argument("--filled", type=Path, help="a database that `coilbook fill` made already")
    parser.add_argument("--only", default="", help="only those whose name has this")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        base = options.filled or Path(folder, "base.db")
        if options.filled is None:
            words = ("fill", "--items", str(ITEMS), "--tests", str(options.tests), "--rng", "1")
            coilbook(os.environ | {"COILBOOK_DATABASE_URL": f"sqlite:///{base}"}, *words)
        for name, do in DONE.items():
            if options.only in name:
                measured(name, do, base, Path(folder))


def measured(name: str, do: Callable[[Store, Path], object], base: Path, folder: Path) -> None:
    """Do one thing over a copy of the database, and print how long it held the lock."""
    shutil.copy(base, folder / "copy.db")
    store = Store(f"sqlite:///{folder / 'copy.db'}")
    with holds(store) as held:
        begun = time.perf_counter()
        do(store, folder)
        took = time.perf_counter() - begun
    store.close()
    wall, cpu = (sorted((round(1000 * each) for each in times), reverse=True)[:3] for times in zip(*held, strict=True))
    print(
        f"{name:34} {took:6.1f} s, {len(held):4} transactions, the longest held it {wall} ms, {cpu} of processor time"
    )


@contextmanager
def holds(store: Store) -> Iterator[list[tuple[float, float]]]:
    """How long each write transaction holds the lock while the block runs, and its processor time, in seconds."""
    held: list[tuple[float, float]] = []

    class Measured(FairLock):
        """The turns at writing of a process, each from just before its BEGIN to just after its COMMIT."""

        since = 0.0, 0.0

        def acquire(self, timeout: float) -> bool:
            got = super().acquire(timeout)
            if got:
                self.since = time.perf_counter(), time.thread_time()
            return got

        def release(self) -> None:
            wall, cpu = self.since
            held.append((time.perf_counter() - wall, time.thread_time() - cpu))
            super().release()

    store.write_lock = Measured()
    yield held


def turn(store: Store, at: datetime) -> None:
    """A turn of housekeeping."""
    said = clock.turn(store, Settings(), lambda: at)
    print(f"  {said}")


def first_turn(store: Store, _folder: Path) -> None:
    """Housekeeping where there was none yet."""
    turn(store, datetime.now(UTC))


def day_change(store: Store, _folder: Path) -> None:
    """Housekeeping on a day on which every due state runs out."""
    now = datetime.now(UTC)
    with store.writing() as db:
        db.get_one(Program, 1).housekept_on = (now - timedelta(days=1)).date()
        db.execute(update(ItemDue).values(changes_on=now.date()))
    turn(store, now)


def import_gear(store: Store, folder: Path) -> None:
    """A sheet of new cables."""
    rows = [f"cable,xlr3,{5 + number % 40} ft,Row {number},Frame {number % 20 + 1}" for number in range(ROWS)]
    bring_in(store, folder, "\n".join(["Kind,Wiring,Length,Label,Place", *rows]))


def import_tests(store: Store, folder: Path) -> None:
    """A sheet of tests of cables that are here, one in ten a fail and its repair."""
    live = select(Tag.code).join(Item, Item.id == Tag.item_id).where(Item.wiring == "xlr3", Tag.until.is_(None))
    with store.reading() as db:
        codes = list(db.scalars(live.where(Item.state == ItemState.IN_SERVICE)))
    rows = []
    for number in range(ROWS):
        day = datetime.now(UTC).date() - timedelta(days=900 - number // len(codes))
        end = "fail,open on pin 2,resoldered" if number % 10 == 0 else "pass,,"
        rows.append(f"{codes[number % len(codes)]},{day},{end}")
    bring_in(store, folder, "\n".join(["Code,Date,Verdict,Fault,Repair", *rows]))


def bring_in(store: Store, folder: Path, text: str) -> None:
    """Import a sheet as the command does."""
    (folder / "sheet.csv").write_text(text)
    lines = list(import_file(store, datetime.now(UTC), str(folder / "sheet.csv"), Answers(between=True), dry=False))
    print(f"  {lines[-1]}")


DONE: dict[str, Callable[[Store, Path], object]] = {
    "first housekeeping": first_turn,
    "housekeeping on a new day": day_change,
    f"import of {ROWS} rows of gear": import_gear,
    f"import of {ROWS} rows of tests": import_tests,
}

if __name__ == "__main__":
    main()
