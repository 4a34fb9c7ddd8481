"""The chance of an undetected failure of an item, and the chance that everything in use works on a day. Pure.

The chances are those of `pooling`: each item has one, from its own record, its class, the wider classes and a stated
prior.

Items fail independently of each other, so the chance that everything works is the product of the chances that each
does, summed in logarithms. A test before the day proves an item good, or it is replaced by one tested as recently:
either way it can then only fail in the days after the test. So the ten items whose tests raise the chance of the event
most are the ten with the largest gain in logarithms. Doubted items go before them: one that crackled is likelier bad
than its chance says, which knows only passes and failures (common practice, no source for by how much).
"""

import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final
from uuid import UUID

from service.wear.core.classes import Path
from service.wear.core.lives import Life

if TYPE_CHECKING:
    from service.wear.core.program_fit import ProgramFit

FIRST = 10
"""How many items are named to be tested first."""
EQUAL = 1e-12
"""Chances that differ by less than this share are treated as equal: the difference is rounding."""


@dataclass(frozen=True, slots=True)
class Ages:
    """The ages of an item in its current life, in exposure days: at its last pass (0 without one), today, and on the
    day of the chance.
    """

    passed: float
    today: float
    day: float


@dataclass(frozen=True, slots=True)
class KnownItem:
    """What is known about an item: its class, its lives, and its ages, which are None once it has failed or is gone."""

    path: Path
    lives: tuple[Life, ...]
    ages: Ages | None


@dataclass(frozen=True, slots=True)
class Chance:
    """The chance of an undetected failure by a day, and the same if the item is tested today, and pulled if bad."""

    failed: float
    if_tested: float

    @property
    def gain(self) -> float:
        """The rise of the logarithm of the chance that everything works if it is tested today."""
        return gain(self.failed, self.if_tested)


@dataclass(frozen=True)
class Outlook:
    """The risk of a day for `items` in use: the chance that all work, and the mean number failed, as things are and
    once `first` are tested.

    `first` are doubted items, then those whose tests raise the chance most, the most useful first; `unknown` items are
    not counted in it.
    """

    items: int
    unknown: int
    works: float
    failed: float
    first: tuple[UUID, ...]
    works_then: float
    failed_then: float


_SURE: Final = 1 - 1e-12
"""The greatest chance of failure, so that all have logarithms."""


def chances(known: Mapping[UUID, KnownItem], fit: "ProgramFit | None" = None) -> dict[UUID, Chance]:
    """The chance of each item that has ages, under a fit; without one `known` are all items there ever were, since the
    lives of all count.
    """
    from service.wear.core.program_fit import fit_program  # numpy would slow the start of every command

    fit = fit or fit_program(tuple((item_id, one.path, one.lives) for item_id, one in known.items()))
    aged = [(item_id, one, one.ages) for item_id, one in known.items() if one.ages]
    pieces = [fit.piece(item_id, one.path, one.lives) for item_id, one, _ in aged]
    passed = [ages.passed for _, _, ages in aged]
    day = [max(ages.passed, ages.day) for _, _, ages in aged]
    today = [min(max(ages.passed, ages.today), then) for (_, _, ages), then in zip(aged, day, strict=True)]
    by_day = fit.fails_between(pieces, passed, day)
    by_today = fit.fails_between(pieces, passed, today) if today != day else by_day
    of_items = {}
    for (item_id, _, _), failed, sooner in zip(aged, by_day, by_today, strict=True):
        later = min(failed, _SURE)
        before = min(later, sooner)
        of_items[item_id] = Chance(later, (later - before) / (1 - before))
    return of_items


def works(failed: Iterable[float]) -> float:
    """The chance that everything works, from the chance, below 1, that each item has failed."""
    return math.exp(math.fsum(math.log1p(-chance) for chance in failed))


def gain(failed: float, failed_then: float) -> float:
    """The rise of the logarithm of the chance that everything works if one item's chance of failure changes."""
    return math.log1p(-failed_then) - math.log1p(-failed)


def reaches(chance: float, wanted: float) -> bool:
    """Whether a chance is at least `wanted`, up to rounding."""
    return chance >= wanted * (1 - EQUAL)


def outlook(
    in_use: Mapping[UUID, Chance], unknown: int = 0, most: int = FIRST, doubted: Collection[UUID] = ()
) -> Outlook:
    """The risk of a day for these items in use, and what testing at most `most` of them first would change."""
    ranked = sorted(in_use, key=lambda key: (key not in doubted, -in_use[key].gain))
    first = tuple(key for key in ranked[:most] if in_use[key].gain > 0 or key in doubted)
    now = [one.failed for one in in_use.values()]
    then = [one.if_tested if key in first else one.failed for key, one in in_use.items()]
    return Outlook(len(in_use), unknown, works(now), math.fsum(now), first, works(then), math.fsum(then))
