"""How many items of a class will be bad while nobody knows, season after season, and what keeps it down. Pure.

The items go on from the ages that they have. Each season has tests on which everything is tested; what one finds bad is
repaired and goes on as new, what passes goes on with its age (see `undetected`). Other rounds than those planned are
spread evenly: over a season that is to come with the last on its last day, over what is left of one that runs with the
first on the next day. An item that is replaced begins a season as new. All times are exposure days.

For 105 days in two rounds, shape 2.4 and scale 300, new items are bad for 16 in 1,000 of the first season, for 66 of
the second, and for 96 of the third.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.wear.core.classes import Fitted
from service.wear.core.undetected import Floats, bad_days
from service.wear.core.weibull import Weibull

_WEEK: Final = 7
"""The least days from round to round: nobody tests everything more often."""
_EVERY: Final = 2
"""Of the models at the edge of what is plausible every second is asked, which gives the range to one in fifty."""


@dataclass(frozen=True, slots=True)
class PlannedSeason:
    """So many days of season, above 0, and the days from its beginning on, up to its last, on which all is tested.

    `runs` is whether that is what is left of a season.
    """

    days: float
    tests: tuple[float, ...]
    runs: bool = False

    def with_rounds(self, rounds: int) -> "PlannedSeason":
        """The same with so many rounds, evenly spread."""
        first, apart = (1.0, (self.days - 1) / rounds) if self.runs else (self.days / rounds, self.days / rounds)
        return replace(self, tests=tuple(first + apart * number for number in range(rounds)))


@dataclass(frozen=True)
class Fleet:
    """Items of one class with the same tests to come: their ages now and, no greater, when they last were known to be
    good.
    """

    passed: tuple[float, ...]
    ages: tuple[float, ...]
    seasons: tuple[PlannedSeason, ...]


@dataclass(frozen=True)
class SeasonAhead:
    """The share of a season that items are bad while nobody knows, and its 95 % range.

    Where that is above the target: so many `rounds` keep it there, so many if wear is as bad as is plausible
    (`rounds_most`), and so does replacing the items of these numbers before the season (`replaced`). Each is None where
    nothing of the kind does, or nothing is needed.
    """

    bad: float
    least: float
    most: float
    rounds: int | None = None
    rounds_most: int | None = None
    replaced: tuple[int, ...] | None = None


def ahead(fitted: Fitted, fleets: Sequence[Fleet], target: float) -> list[SeasonAhead]:
    """Each season that the fleets have; their items are numbered one fleet after the other, and there is one at least.

    `target` is the share of a season that items may be bad.
    """
    shares, edge = bad_shares(fitted.model, fleets), fitted.edge[::_EVERY]
    others = np.array([bad_shares(model, fleets).mean(axis=0) for model in edge])
    found = []
    for number, bad in enumerate(shares.mean(axis=0).tolist()):
        least, most = min(bad, others[:, number].min()), max(bad, others[:, number].max())
        season_ahead = SeasonAhead(bad, float(least), float(most))
        if bad > target:
            worst = edge[int(others[:, number].argmax())] if most > bad else fitted.model
            season_ahead = SeasonAhead(
                season_ahead.bad,
                season_ahead.least,
                season_ahead.most,
                rounds_that_keep(fitted.model, fleets, number, target),
                rounds_that_keep(worst, fleets, number, target),
                replacements_that_keep(fitted.model, fleets, number, target, shares[:, number]),
            )
        found.append(season_ahead)
    return found


def bad_shares(model: Weibull, fleets: Iterable[Fleet]) -> Floats:
    """The share of each season that each item is bad on average while nobody knows (items, seasons)."""
    return np.concatenate([_bad_shares(model, fleet) for fleet in fleets])


def _bad_shares(model: Weibull, fleet: Fleet) -> Floats:
    begins = np.cumsum([0.0, *(season.days for season in fleet.seasons)])
    tests = {float(begin + test) for begin, season in zip(begins, fleet.seasons, strict=False) for test in season.tests}
    edges = sorted({*begins.tolist(), *tests})
    passed, ages, place = _distinct(fleet.passed, fleet.ages)
    bad = np.add.reduceat(bad_days(model, passed, ages, edges, tests), np.searchsorted(edges, begins[:-1]), axis=1)
    shares: Floats = (bad / np.diff(begins))[place]
    return shares


@lru_cache(maxsize=256)
def _distinct(passed: tuple[float, ...], ages: tuple[float, ...]) -> tuple[Floats, Floats, NDArray[np.intp]]:
    """Those that differ, and which of them each item has: items that were tested together are of few ages."""
    distinct, place = np.unique([passed, ages], axis=1, return_inverse=True)
    return distinct[0], distinct[1], place


def rounds_that_keep(model: Weibull, fleets: Sequence[Fleet], number: int, target: float) -> int | None:
    """The fewest rounds in the season of this number that keep it at the target; None if not even one a week does."""

    season = fleets[0].seasons[number]

    def bad(rounds: int) -> float:
        other = season.with_rounds(rounds)
        planned = [replace(fleet, seasons=(*fleet.seasons[:number], other)) for fleet in fleets]
        return float(bad_shares(model, planned)[:, number].mean())

    most = max(1, int(season.days / _WEEK))
    return _least(lambda rounds: bad(rounds) / target, most)


def _least(part: Callable[[int], float], most: int) -> int | None:
    """The least number up to `most` for which `part`, which falls about as 1/number does, is at most 1."""
    low, high, guess = 0, most + 1, 1  # what is no more than `low` is too few, and `high` is enough, or too many to try
    while high - low > 1:
        of_target = part(guess)
        low, high = (low, guess) if of_target <= 1 else (guess, high)
        guess = min(max(math.ceil(guess * of_target), low + 1), high - 1)
    return high if high <= most else None


def replacements_that_keep(
    model: Weibull, fleets: Sequence[Fleet], number: int, target: float, bad: Floats
) -> tuple[int, ...] | None:
    """The fewest items that, replaced before the season of this number, keep it at the target; None if not even all do.

    `bad` are the shares of that season that the items are bad as they are.
    """
    season = fleets[0].seasons[number]
    new = float(bad_shares(model, [Fleet((0.0,), (0.0,), (season,))])[0, 0])
    worst_first = np.argsort(-bad, kind="stable")
    gains = np.cumsum(np.maximum(bad[worst_first] - new, 0.0)) / len(bad)
    enough = np.flatnonzero(bad.mean() - gains <= target)
    return tuple(worst_first[: enough[0] + 1].tolist()) if enough.size else None
