"""Programs whose wear is known: items fail as told, are tested twice a season, repaired when found bad, and tested
again; and what became of what wear said of them.

A program draws its truth: a shape from 0.8 to 2.5, a scale from 300 to 3,000 days, and how much its items differ, from
an exponential distribution with mean 1/2. It is looked at late in its third season, 15 days before an event.
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from random import Random
from uuid import UUID

from service.wear.core.classes import judged
from service.wear.core.lives import Life
from service.wear.core.risk import Ages, KnownItem, chances
from service.wear.core.weibull import Weibull

CABLES = ("cable", "XLR", "strapped to a frame")
SEASON, SEASONS, TODAY, EVENT = 90, 3, 250, 265
"""Exposure days."""
TESTS = (15, 45, 75, 105, 140, 170)
"""Exposure days on which the program of `seen_by_tests` tests: twice a season, for three seasons."""


@dataclass(frozen=True)
class Said:
    """What was said of an item, and whether it had failed unseen by the event."""

    program: int
    chance: float
    frailty: float
    failed: bool


@dataclass(frozen=True)
class Group:
    """Items of which much the same was said: how many, the mean chance, the share that failed, and the standard error
    of the difference, by programs, since items of one program share what is not known of it.
    """

    items: int
    said: float
    was: float
    error: float

    @property
    def off(self) -> float:
        """The difference in standard errors."""
        return (self.was - self.said) / self.error


def seen_by_tests(random: Random, true: Weibull, items: int) -> list[Life]:
    """What tests tell of items whose lives are drawn from the true model, on `TESTS`."""
    found = []
    for _ in range(items):
        fails = random.weibullvariate(true.scale, true.shape)
        good = max((day for day in TESTS if day < fails), default=0)
        found.append(Life(good, min((day for day in TESTS if day >= fails), default=None)))
    return found


def programs(count: int, items: int, seed: int = 1) -> Iterator[list[Said]]:
    """Simulate so many programs, and what wear says of each of their items before the event."""
    for number in range(count):
        random = Random(f"{seed}-{number}")
        shape = random.uniform(0.8, 2.5)
        scale = math.exp(random.uniform(math.log(300), math.log(3000)))
        spread = max(0.01, random.expovariate(2))
        told = {}
        for item in range(items):
            frailty = random.gammavariate(1 / spread, spread)
            told[UUID(int=item)] = _item(random, Weibull(shape, scale * frailty ** (-1 / shape), 0))
        known = {key: each for key, (each, _) in told.items()}
        lives = [life for each in known.values() for life in each.lives]
        found = chances(known, judged({CABLES: lives}))
        yield [Said(number, one.failed, one.frailty, told[key][1]) for key, one in found.items()]


def _item(random: Random, true: Weibull) -> tuple[KnownItem, bool]:
    """An item's record by today, and whether it has failed by the event since."""
    bought = random.choice((0, 0, SEASON, 2 * SEASON))
    evenings = [
        round(random.uniform(begin, begin + SEASON / 2))
        for begin in (half * SEASON // 2 for half in range(2 * SEASONS))
    ]
    born, good, lives = bought, 0, []
    fails = random.weibullvariate(true.scale, true.shape)
    for evening in evenings:
        age = evening - born
        if age <= 0 or evening > TODAY:
            continue
        if fails > age:
            good = age
        else:
            lives.append(Life(good, age))
            born, good, fails = evening, 0, random.weibullvariate(true.scale, true.shape)
    if good:
        lives.append(Life(good, None))
    return KnownItem(CABLES, tuple(lives), Ages(good, TODAY - born, EVENT - born)), fails <= EVENT - born


def grouped(said: Iterable[Said]) -> Group:
    """What was said of these and what became of them."""
    all_ = list(said)
    residuals: dict[int, float] = {}
    for one in all_:
        residuals[one.program] = residuals.get(one.program, 0.0) + one.failed - one.chance
    error = math.sqrt(math.fsum(residual**2 for residual in residuals.values())) / len(all_)
    return Group(
        len(all_),
        math.fsum(one.chance for one in all_) / len(all_),
        sum(one.failed for one in all_) / len(all_),
        error,
    )


def by_risk(said: Iterable[Said], parts: int) -> list[Group]:
    """Groups of equal size, from the least risk to the most."""
    in_order = sorted(said, key=lambda one: one.chance)
    edges = [len(in_order) * part // parts for part in range(parts + 1)]
    return [grouped(in_order[edges[part] : edges[part + 1]]) for part in range(parts)]
