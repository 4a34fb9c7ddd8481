"""The chance that an item has failed and nobody knows, and that everything in use works on a day. Pure.

The chances are those of `pooling`: every item has one, from its own record, its class, the wider ones and a stated
prior, each as far as it tells.

Items fail independently of each other, so everything works with the product of the chances that each does; it is
summed in logarithms. A test before the day proves an item good, or has it replaced by one that was tested as lately:
either way its chance to have failed is then only that of the days after the test. So the ten items whose tests raise
the chance of the event most are the ten with the largest gain in logarithms.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from service.wear.core.classes import Path
from service.wear.core.lives import Life

FIRST = 10
"""How many items are named to be tested first."""
EQUAL = 1e-12
"""Chances that differ by less than this share are the same but for rounding."""


@dataclass(frozen=True, slots=True)
class Ages:
    """How old an item is in the life it is in, in exposure days: at its last pass (0 without one), today, and on the
    day asked for.
    """

    passed: float
    today: float
    day: float


@dataclass(frozen=True, slots=True)
class KnownItem:
    """What is known of an item: its class, its lives, and its ages, which are None once it has failed or is gone."""

    path: Path
    lives: tuple[Life, ...]
    ages: Ages | None


@dataclass(frozen=True, slots=True)
class Chance:
    """The chance that an item has failed unseen by a day, and the same if it is tested today, and pulled if bad."""

    failed: float
    if_tested: float

    @property
    def gain(self) -> float:
        """By how much a test today raises the logarithm of the chance that everything works."""
        return gain(self.failed, self.if_tested)


@dataclass(frozen=True)
class Outlook:
    """How a day looks for `items` in use: the chance that all work, and how many have failed on average, as it is and
    once `first` are tested.

    `first` are those whose tests raise the chance most, the most useful first; of `unknown` items nothing can be told.
    """

    items: int
    unknown: int
    works: float
    failed: float
    first: tuple[UUID, ...]
    works_then: float
    failed_then: float


_SURE: Final = 1 - 1e-12
"""No chance is more than this, so that all have logarithms."""


def chances(known: Mapping[UUID, KnownItem]) -> dict[UUID, Chance]:
    """The chance of each item that has ages; `known` are all items there ever were, for all teach something."""
    from service.wear.core.pooling import posterior  # numpy would slow the start of every command

    worn = posterior(tuple((one.path, one.lives) for one in known.values()))
    ages = [one.ages or Ages(0.0, 0.0, 0.0) for one in known.values()]
    passed = [one.passed for one in ages]
    day = [max(one.passed, one.day) for one in ages]
    today = [min(max(one.passed, one.today), then) for one, then in zip(ages, day, strict=True)]
    by_day = worn.fails_between(passed, day)
    by_today = worn.fails_between(passed, today) if today != day else by_day
    found = {}
    for key, failed, sooner in zip(known, by_day, by_today, strict=True):
        if known[key].ages:
            later = min(failed, _SURE)
            before = min(later, sooner)
            found[key] = Chance(later, (later - before) / (1 - before))
    return found


def works(failed: Iterable[float]) -> float:
    """The chance that everything works, given for each item the chance that it has failed, below 1."""
    return math.exp(math.fsum(math.log1p(-chance) for chance in failed))


def gain(failed: float, failed_then: float) -> float:
    """By how much the logarithm of the chance that everything works rises with one item's chance to have failed."""
    return math.log1p(-failed_then) - math.log1p(-failed)


def reaches(chance: float, wanted: float) -> bool:
    """Whether a chance is the one that is wanted, or greater, but for rounding."""
    return chance >= wanted * (1 - EQUAL)


def outlook(in_use: Mapping[UUID, Chance], unknown: int = 0, most: int = FIRST) -> Outlook:
    """How a day looks for these items in use, and what testing at most so many of them first would do."""
    ranked = sorted(in_use, key=lambda key: -in_use[key].gain)
    first = tuple(key for key in ranked[:most] if in_use[key].gain > 0)
    now = [one.failed for one in in_use.values()]
    then = [one.if_tested if key in first else one.failed for key, one in in_use.items()]
    return Outlook(len(in_use), unknown, works(now), math.fsum(now), first, works(then), math.fsum(then))
