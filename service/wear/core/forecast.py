"""The share of items of a class that will be failed and undetected, season by season, and what reduces it. Pure.

The items start with the ages that they have. In each season everything is tested on the days of its tests; an item
found bad is repaired and goes on as new, one that passes goes on with its age (see `undetected`). Rounds other than the
planned ones are spread evenly: over a future season with the last on its last day, over what is left of the current one
with the first on the next day. An item that is replaced begins the season as new. All times are exposure days.

For 105 days in two rounds, shape 2.4 and scale 300, new items are failed and undetected for 16 in 1,000 of the first
season, 66 of the second, and 96 of the third.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.wear.core.classes import Fitted
from service.wear.core.fleet import Fleet, SeasonAhead
from service.wear.core.undetected import Floats, bad_days
from service.wear.core.weibull import Weibull

_WEEK: Final = 7
"""The least days between rounds: nobody tests everything more often."""
_EVERY: Final = 2
"""Every second model of the edge is evaluated, which gives the range within 2 %."""


def ahead(fitted: Fitted, fleets: Sequence[Fleet], target: float) -> list[SeasonAhead]:
    """The forecast of each season of the fleets, at least one; items are numbered through, one fleet after another.

    `target` is the share of a season that items may be failed and undetected.
    """
    shares, edge = bad_shares(fitted.model, fleets), fitted.edge[::_EVERY]
    others = np.array([bad_shares(model, fleets).mean(axis=0) for model in edge])
    seasons = []
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
        seasons.append(season_ahead)
    return seasons


def bad_shares(model: Weibull, fleets: Iterable[Fleet]) -> Floats:
    """The mean share of each season that each item is failed and undetected (items, seasons)."""
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
    """The distinct pairs of ages, and the number of each item's pair: items that are tested together have few."""
    distinct, place = np.unique([passed, ages], axis=1, return_inverse=True)
    return distinct[0], distinct[1], place


def rounds_that_keep(model: Weibull, fleets: Sequence[Fleet], number: int, target: float) -> int | None:
    """The fewest rounds in season `number` that keep it at the target; None if even one a week does not."""

    season = fleets[0].seasons[number]

    def bad(rounds: int) -> float:
        other = season.with_rounds(rounds)
        planned = [replace(fleet, seasons=(*fleet.seasons[:number], other)) for fleet in fleets]
        return float(bad_shares(model, planned)[:, number].mean())

    most = max(1, int(season.days / _WEEK))
    return _least(lambda rounds: bad(rounds) / target, most)


def _least(part: Callable[[int], float], most: int) -> int | None:
    """The least number up to `most` for which `part`, which falls about like 1/number, is at most 1; None if none."""
    low, high, guess = 0, most + 1, 1  # `low` and fewer are too few; `high` is enough, or more than `most`
    while high - low > 1:
        of_target = part(guess)
        low, high = (low, guess) if of_target <= 1 else (guess, high)
        guess = min(max(math.ceil(guess * of_target), low + 1), high - 1)
    return high if high <= most else None


def replacements_that_keep(
    model: Weibull, fleets: Sequence[Fleet], number: int, target: float, bad: Floats
) -> tuple[int, ...] | None:
    """The fewest items that keep season `number` at the target if replaced before it; None if even all do not.

    `bad` are the shares of that season that the items are failed and undetected if none is replaced (items,).
    """
    season = fleets[0].seasons[number]
    new = float(bad_shares(model, [Fleet((0.0,), (0.0,), (season,))])[0, 0])
    worst_first = np.argsort(-bad, kind="stable")
    gains = np.cumsum(np.maximum(bad[worst_first] - new, 0.0)) / len(bad)
    enough = np.flatnonzero(bad.mean() - gains <= target)
    return tuple(worst_first[: enough[0] + 1].tolist()) if enough.size else None
