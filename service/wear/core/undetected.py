"""The share of a season that items are failed and undetected, given their ages and the days of the tests. Pure.

A pass renews nothing: an item that passes goes on with its age, and only a repair makes it as good as new. An item that
a test finds bad is repaired at once, and may fail again. Every test finds all faults.

An item that was last known to be good at age b has failed v days later with probability

    F(v | b) = 1 - exp(-D),   D = ((b + v)/scale)^shape - (b/scale)^shape

Between two tests that is the chance of an undetected failure. At the second test the failed part begins a new life, and
the rest goes on. So a season is a sum of integrals of F(v | b) over the stretches between tests, one for each life that
may have begun: at an age on the first day, or at a test that found a fault. The integral of the survival of a Weibull
model is an incomplete gamma function (DLMF 8.2.1). Where the difference of two of these would suffer from cancellation,
adaptive Gauss-Legendre quadrature is used instead; the stretches are first cut where D passes `_LEVELS`, so that the
fall of a steep model is not missed.

With a constant rate r and one test in the middle of a season of 2 days the answer is 1 - (1 - exp(-r))/r.
"""

import math
from collections import Counter
from collections.abc import Container, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.wear.core.weibull import Weibull

Floats = NDArray[np.float64]

_LEVELS: Final = np.array([1e-5, 0.01, 0.3, 2.0, 8.0, 35.0])
"""Values of D at which stretches are cut: below the first F is close to 0, above the last close to 1."""
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(12)
_EXACT: Final = 1e-10
"""The greatest difference between the mean of F over a piece and that over its halves."""
_TINY: Final = 1e-12
"""The same for its integral, as a share of the whole stretch: flat shapes start too steeply for any rule."""
_HALVINGS: Final = 60
_DIGITS: Final = 1e4
"""The gamma functions are used up to this ratio of the mean life to the stretch: they are right to 13 digits, so their
difference is right to 9 digits of the stretch.
"""
_AT_ONCE: Final = 20_000
"""Integrals that are computed at once, to bound the memory."""
_ROOTS: Final = 100
"""The greatest 1/shape whose gamma function does not overflow."""


def season_bad(model: Weibull, days: float, ages: Sequence[float], tests: Sequence[float]) -> float:
    """The mean, over items and over the time of a season, of the chance that an item is failed and undetected.

    `ages` are those of the items on the first day, at least one; all are good then. `days` of the season are above 0.
    `tests` are days since the first one, from 0 to `days`, in any order. All are exposure days. The error is below
    1e-9.
    """
    distinct = Counter(ages)
    age = np.array(list(distinct), float)
    share = np.array(list(distinct.values())) / len(ages)
    edges = sorted({0.0, *tests, days})
    return float(share @ bad_days(model, age, age, edges, {*edges}).sum(axis=1)) / days


def bad_days(model: Weibull, passed: Floats, ages: Floats, edges: Sequence[float], tests: Container[float]) -> Floats:
    """The mean days that an item is failed and undetected in each stretch between `edges` (items, stretches).

    `ages` (items,) are those at the first edge, and `passed` (items,), no greater, those at which the items were last
    known to be good. Edges are days, in order; `tests` are the edges after the first at which everything is tested.
    """
    times = np.array(edges, float) - edges[0]
    is_tested = np.array([number > 0 and edge in tests for number, edge in enumerate(edges)])
    lasts = np.maximum.accumulate(np.where(is_tested, times, -np.inf))[:-1]  # when each stretch begins: the last test
    begins, lengths = times[:-1], np.diff(times)
    since = (ages - passed)[:, None]
    bad, ended = _of_life(model, passed[:, None], since + begins, since + lasts, lengths)
    ends = np.flatnonzero(is_tested[:-1])
    born = times[ends, None]
    new = _of_life(model, np.zeros((1, 1)), np.maximum(begins - born, 0.0), lasts - born, lengths)
    for end, after, again in zip(ends, *new, strict=True):
        bad[:, end:] += ended[:, end - 1, None] * after[end:]
        ended[:, end:] += ended[:, end - 1, None] * again[end:]
    return bad


def _of_life(model: Weibull, passed: Floats, since: Floats, lasts: Floats, lengths: Floats) -> tuple[Floats, Floats]:
    """The mean days that items are failed and undetected in each stretch, counting their current life only, and the
    chance that this life has ended undetected by each stretch's end (items, stretches).

    At the beginning of a stretch of `lengths`, it is `since` days since an item was good at the age of `passed`; its
    last test was `lasts` days after that, below 0 if there was none.
    """
    good = _still_good(model, passed, since)
    known = np.where(lasts < 0, 1.0, _still_good(model, passed, np.maximum(lasts, 0.0)))
    bad = (known - good) * lengths + good * _bad_days(model, passed + since, lengths)
    return bad, known - good + good * _failed(model, passed + since, lengths)


def _more_hazard(model: Weibull, good: Floats, days: Floats) -> Floats:
    """The cumulative hazard of `days` more after the age of `good`, without cancellation where the days are few."""
    until = good + days
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        logs = model.shape * (np.log(until) - math.log(model.scale))
        longer = np.where(good > 0, days / good, np.inf)
    hazard: Floats = np.exp(np.minimum(logs, 700.0)) * -np.expm1(-model.shape * np.log1p(longer))
    return hazard


def _still_good(model: Weibull, good: Floats, days: Floats) -> Floats:
    return np.exp(-_more_hazard(model, good, days))


def _failed(model: Weibull, good: Floats, days: Floats) -> Floats:
    return -np.expm1(-_more_hazard(model, good, days))


def _bad_days(model: Weibull, good: Floats, days: Floats) -> Floats:
    """The mean days that an item, good at the age of `good`, is bad within the next `days`."""
    from scipy.special import gammainc

    good, days = np.broadcast_arrays(good, days)
    bad = np.empty(good.shape)
    power = 1 / model.shape
    with np.errstate(over="ignore"):
        at_good, at_end = ((age / model.scale) ** model.shape for age in (good, good + days))
        mean = model.scale * np.exp(at_good) * (math.gamma(1 + power) if power < _ROOTS else math.inf)
    exact = mean <= _DIGITS * days
    survived = gammainc(power, at_end[exact]) - gammainc(power, at_good[exact])
    bad[exact] = np.clip(days[exact] - mean[exact] * survived, 0.0, days[exact])
    if not exact.all():
        bad[~exact] = _by_quadrature(model, good[~exact], days[~exact])
    return bad


def _by_quadrature(model: Weibull, good: Floats, days: Floats) -> Floats:
    """The same by quadrature, accurate for all arguments."""
    parts = np.arange(_AT_ONCE, good.size, _AT_ONCE)
    pairs = zip(np.split(good, parts), np.split(days, parts), strict=True)
    return np.concatenate([_settled(model, *pair) for pair in pairs])


def _settled(model: Weibull, good: Floats, days: Floats) -> Floats:
    with np.errstate(divide="ignore", over="ignore"):
        logs = model.shape * (np.log(good) - math.log(model.scale))
        at_levels = np.exp(np.logaddexp(logs[:, None], np.log(_LEVELS)) / model.shape) * model.scale - good[:, None]
    cuts = np.clip(np.nan_to_num(at_levels), 0.0, days[:, None])
    ends = np.sort(np.concatenate([np.zeros_like(days)[:, None], cuts, days[:, None]], axis=1), axis=1)
    item, piece = np.nonzero(ends[:, 1:] > ends[:, :-1])
    low, high = ends[item, piece], ends[item, piece + 1]
    total = np.zeros(len(good))
    whole = _integrals(model, good[item], low, high)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        left = _integrals(model, good[item], low, middle)
        right = _integrals(model, good[item], middle, high)
        halves = left + right
        near = np.abs(halves - whole) <= _EXACT * (high - low) + _TINY * days[item]
        np.add.at(total, item[near], halves[near])
        if near.all():
            return total
        far = ~near
        item = np.concatenate([item[far], item[far]])
        low, high = np.concatenate([low[far], middle[far]]), np.concatenate([middle[far], high[far]])
        whole = np.concatenate([left[far], right[far]])
    raise ArithmeticError("the share of a season that items are bad did not settle")


def _integrals(model: Weibull, good: Floats, low: Floats, high: Floats) -> Floats:
    """The integral of F from `low` to `high` days after the age of `good`, by one quadrature rule for each."""
    half = (high - low) / 2
    nodes = (low + half)[:, None] + half[:, None] * _NODES
    sums: Floats = half * (_failed(model, np.broadcast_to(good[:, None], nodes.shape), nodes) @ _WEIGHTS)
    return sums
