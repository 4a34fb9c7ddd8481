"""Is the pull list worth its work, and how long does it take: `.venv/bin/python -m tests.bench.pull [--seasons N]`.

First, simulated programs whose wear is known: cables of two purchase lots, strapped to frames or free, each a bit
better or worse than its class, tested twice a season for three seasons. Twelve days before a show the pull list is
made as the service makes it, from what the tests alone tell; and beside it, for as many items, two plain rules:
*oldest first*, and *every failed one* (what failed most often in the log). What is pulled works on show day; printed
is how many of the others do not, on average, with the error of the mean, and how many fewer the list leaves.

Then a database of 2,000 items with three seasons of tests: how long its list takes.
"""

import argparse
import statistics
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np

from service.demo.fill import fill
from service.kit.dates import local_date
from service.retire.decisions.core import Action, Gear, Limits
from service.retire.lists.actions import event_for, pull_list
from service.retire.lists.core import FittingPiece, InCase, JudgedItem, decided
from service.season.core import Due, DueState, HistoryEntry, What
from service.store import migrate
from service.store.sessions import Store
from service.testlog.housekeeping import CHORES, keep_house
from service.wear.core import risk
from service.wear.core.risk import Ages, KnownItem
from tests.wear.support import ages, lives

ITEMS, SPARES = 80, 12
SEASONS = [(date(2024 + year, 8, 1), date(2024 + year, 11, 9)) for year in range(3)]
"""A hundred days each."""
EVENINGS = (8, 58)
"""Days into a season on which all is tested."""
SHOW = SEASONS[-1][0] + timedelta(days=90)
TODAY = SHOW - timedelta(days=12)
SKIPPED = 0.1
CLASSES = {
    ("strapped", "old lot"): (1.8, 220.0),
    ("strapped", "new lot"): (1.5, 700.0),
    ("free", "old lot"): (1.8, 450.0),
    ("free", "new lot"): (1.5, 1400.0),
}
"""Shape and scale (days of season in service) of the Weibull lives of each class."""
UNLIKE = 0.5
"""How much items of a class differ: the standard deviation of the logarithm of an item's own scale."""


@dataclass
class Cable:
    """An item of a simulated program: what it is, when it was bought, its log, and whether it fails on show day."""

    path: tuple[str, ...]
    bought: date
    history: list[HistoryEntry]
    exposure: list[tuple[date, date]]
    failed: bool
    ever_failed: int


def cable(number: int, random: np.random.Generator) -> Cable:
    """One item's three seasons, by the truth of its class."""
    strapped, lot = ("strapped", "free")[number % 2], ("old lot", "new lot")[number // 2 % 2]
    shape, scale = CLASSES[strapped, lot]
    own = scale * float(np.exp(random.normal(0, UNLIKE)))
    first = 0 if lot == "old lot" else int(random.integers(0, 3))
    bought = SEASONS[first][0] - timedelta(days=int(random.integers(5, 60)))
    exposure = [(begin, end) for begin, end in SEASONS if begin >= SEASONS[first][0]]
    history: list[HistoryEntry] = []
    age, fails, life = 0.0, 0, own * float(random.weibull(shape))
    for begin, end in exposure:
        days = [begin + timedelta(days=day) for day in EVENINGS]
        for day, until in zip([begin, *days], [*days, min(end, SHOW)], strict=True):
            if day in days and random.random() >= SKIPPED:
                history += [HistoryEntry(day, What.PASS)] if age < life else _mended(day)
                if age >= life:
                    fails, age, life = fails + 1, 0.0, own * float(random.weibull(shape))
            age += max(0, (until - day).days)
    return Cable(("cable", strapped, lot), bought, history, exposure, age >= life, fails)


def _mended(day: date) -> list[HistoryEntry]:
    return [HistoryEntry(day, what) for what in (What.FAIL, What.REPAIR, What.PASS)]


def listed(cables: Sequence[Cable]) -> set[int]:
    """The numbers of what the service's own list names to be taken out or tested first."""
    known = {}
    for number, one in enumerate(cables):
        now, then = (ages(one.history, one.exposure, day) for day in (TODAY, SHOW))
        told = Ages(now[0], now[1], then[1]) if now and then else None
        known[UUID(int=number)] = KnownItem(one.path, tuple(lives(one.history, one.exposure)), told)
    chances = risk.chances(known)
    current = Due(DueState.CURRENT)
    in_use = []
    for number, one in enumerate(cables):
        chance = chances.get(UUID(int=number))
        gear = Gear(
            UUID(int=number),
            "cable",
            "xlr3",
            3048,
            current,
            current,
            bought_mm=3048,
            bought_on=one.bought,
            risk=chance.failed if chance else None,
        )
        in_use.append(JudgedItem(gear, FittingPiece(gear.id, f"{number:06}", "cable", "xlr3", (), 3048)))
    case = []
    for number in range(1000, 1000 + SPARES):
        gear = Gear(UUID(int=number), "cable", "xlr3", 3048, current, current, bought_mm=3048)
        case.append(InCase(gear, FittingPiece(gear.id, f"{number:06}", "cable", "xlr3", (), 3048), TODAY))
    lines = decided(in_use, case, Limits(), TODAY, SHOW)
    return {line.gear.id.int for line in lines if line.action is not Action.WATCH}


def left(seasons: int) -> None:
    """Print the three rules beside each other."""
    found: dict[str, list[int]] = {"pull list": [], "oldest first": [], "every failed one": [], "nothing": []}
    pulled = []
    for seed in range(seasons):
        random = np.random.default_rng(seed)
        cables = [cable(number, random) for number in range(ITEMS)]
        chosen = listed(cables)
        turn = random.permutation(ITEMS)  # ties are broken by lot, not by number
        rules = {
            "pull list": chosen,
            "oldest first": set(sorted(turn, key=lambda at: cables[at].bought)[: len(chosen)]),
            "every failed one": set(sorted(turn, key=lambda at: -cables[at].ever_failed)[: len(chosen)]),
            "nothing": set(),
        }
        for name, out in rules.items():
            found[name].append(sum(one.failed for at, one in enumerate(cables) if at not in out))
        pulled.append(len(chosen))
    print(f"{seasons} simulated programs of {ITEMS} cables; pulled on average {statistics.mean(pulled):.1f}")
    print(f"{'rule':18} {'left on show day':>20} {'list leaves fewer by':>24}")
    for name, counts in found.items():
        fewer = [other - mine for other, mine in zip(counts, found["pull list"], strict=True)]
        print(f"{name:18} {_with_error(counts):>20} {_with_error(fewer) if name != 'pull list' else '':>24}")


def _with_error(counts: Sequence[int]) -> str:
    return f"{statistics.mean(counts):.2f} ± {statistics.stdev(counts) / len(counts) ** 0.5:.2f}"


def how_long(items: int, tests: int, times: int) -> None:
    """Print how long the list of a large program takes."""
    zone, now = ZoneInfo("America/New_York"), datetime.now(UTC)
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{folder}/bench.db"
        migrate.upgrade(url)
        store = Store(url)
        fill(store, items, tests, 3, now)
        keep_house(store, now, CHORES)
        took, worked = [], []
        for _ in range(times):
            with store.reading() as db:
                event = event_for(db, None, local_date(now, zone))
                assert event is not None
                began, cpu = time.perf_counter(), time.process_time()
                lines = len(pull_list(db, event, local_date(now, zone), zone).rows)
                took.append(time.perf_counter() - began)
                worked.append(time.process_time() - cpu)
        store.close()
    print(
        f"{items} items, {tests} tests: the list of {lines} lines took {statistics.median(took):.2f} s "
        f"(processor {statistics.median(worked):.2f} s; first {took[0]:.2f} s)"
    )


def main() -> None:
    """Measure, and print."""
    parser = argparse.ArgumentParser(description="Measure the pull list: what it is worth, and how long it takes.")
    parser.add_argument("--seasons", type=int, default=200, help="how many programs are simulated")
    left(parser.parse_args().seasons)
    how_long(2000, 24_000, 5)


if __name__ == "__main__":
    main()
