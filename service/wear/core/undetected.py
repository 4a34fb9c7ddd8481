"""How much of a season items spend failed while nobody knows, given their ages and the days of the tests. Pure.

A pass renews nothing: an item that passes goes on with its age, and only a repair makes it as good as new. What a test
finds bad is repaired at once, and may fail again. Every test finds all that is bad.

An item of a life that began at age b when it was last known to be good has failed v days later with

    F(v | b) = 1 - exp(-D),   D = ((b + v)/scale)^shape - (b/scale)^shape

Between two tests the chance that it is bad and nobody knows is that; at the second one that part of it begins a life of
its own, and the rest goes on. So a season is a sum of integrals of F(v | b) over stretches between tests, one for each
life that may have begun: an age of the first day, or a test that found something. An integral of the survival of a
Weibull model is an incomplete gamma function (DLMF 8.2.1). Where the difference of two of these would lose its digits,
Gauss-Legendre quadrature takes its place, with stretches halved until halving changes nothing; they are first cut where
D passes `_LEVELS`, so that a steep model's fall is never stepped over.

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
"""Values of D at which stretches are cut: below the first F is next to 0, beyond the last next to 1."""
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(12)
_EXACT: Final = 1e-10
"""By how much the mean of F over a piece may differ from that of its halves."""
_TINY: Final = 1e-12
"""The same for its integral, as a part of the whole stretch: flat shapes start too steeply for any rule."""
_HALVINGS: Final = 60
_DIGITS: Final = 1e4
"""How many times as long as a stretch the mean life may be that two gamma functions are a part of: they are right to 13
digits, and so their difference to 9 of the stretch.
"""
_AT_ONCE: Final = 20_000
"""Integrals that are taken together, so that their nodes fit the memory."""
_ROOTS: Final = 100
"""The most that 1/shape may be for gamma functions of it to fit numbers."""


def season_bad(model: Weibull, days: float, ages: Sequence[float], tests: Sequence[float]) -> float:
    """The mean, over items and over the moments of a season, of the chance that an item is bad and nobody knows.

    `ages` of the items on the first day, of which there is one at least, and `days` of the season, above 0, are in
    exposure days; all are good on that day. `tests` are days from the first one on, from 0 to `days`, in any order.
    Right to 1e-9.
    """
    distinct = Counter(ages)
    age = np.array(list(distinct), float)
    share = np.array(list(distinct.values())) / len(ages)
    edges = sorted({0.0, *tests, days})
    return float(share @ bad_days(model, age, age, edges, {*edges}).sum(axis=1)) / days


def bad_days(model: Weibull, passed: Floats, ages: Floats, edges: Sequence[float], tests: Container[float]) -> Floats:
    """How long an item is bad on average and nobody knows, in each stretch between `edges` (items, stretches).

    `ages` (items,) are those at the first of the edges, and `passed` (items,), none later, those at which the items
    were last known to be good. Edges are days, in order; `tests` are those after the first at which all is tested.
    """
    times = np.array(edges, float) - edges[0]
    is_tested = np.array([number > 0 and edge in tests for number, edge in enumerate(edges)])
    lasts = np.maximum.accumulate(np.where(is_tested, times, -np.inf))[:-1]  # when each stretch begins: the last test
    begins, lengths = times[:-1], np.diff(times)
    since = (ages - passed)[:, None]
    bad, found = _of_life(model, passed[:, None], since + begins, since + lasts, lengths)
    ends = np.flatnonzero(is_tested[:-1])
    born = times[ends, None]
    new = _of_life(model, np.zeros((1, 1)), np.maximum(begins - born, 0.0), lasts - born, lengths)
    for end, after, again in zip(ends, *new, strict=True):
        bad[:, end:] += found[:, end - 1, None] * after[end:]
        found[:, end:] += found[:, end - 1, None] * again[end:]
    return bad


def _of_life(model: Weibull, passed: Floats, since: Floats, lasts: Floats, lengths: Floats) -> tuple[Floats, Floats]:
    """How long items are bad in each stretch in the life that they are in, and the chance that it has ended, unknown
    until then, by each stretch's end (items, stretches).

    When a stretch of `lengths` begins, an item was good at the age of `passed`, `since` days before, and was tested
    `lasts` days after it passed, below 0 where it was not.
    """
    good = _still_good(model, passed, since)
    known = np.where(lasts < 0, 1.0, _still_good(model, passed, np.maximum(lasts, 0.0)))
    bad = (known - good) * lengths + good * _bad_days(model, passed + since, lengths)
    return bad, known - good + good * _failed(model, passed + since, lengths)


def _more_hazard(model: Weibull, good: Floats, days: Floats) -> Floats:
    """The cumulative hazard of `days` more after the age of `good`, with all its digits where the days are few."""
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
    """The mean time that an item, good at the age of `good`, is bad in the next `days`, for each of them."""
    from scipy.special import gammainc

    good, days = np.broadcast_arrays(good, days)
    found = np.empty(good.shape)
    power = 1 / model.shape
    with np.errstate(over="ignore"):
        at_good, at_end = ((age / model.scale) ** model.shape for age in (good, good + days))
        mean = model.scale * np.exp(at_good) * (math.gamma(1 + power) if power < _ROOTS else math.inf)
    exact = mean <= _DIGITS * days
    survived = gammainc(power, at_end[exact]) - gammainc(power, at_good[exact])
    found[exact] = np.clip(days[exact] - mean[exact] * survived, 0.0, days[exact])
    if not exact.all():
        found[~exact] = _by_quadrature(model, good[~exact], days[~exact])
    return found


def _by_quadrature(model: Weibull, good: Floats, days: Floats) -> Floats:
    """The same, right to all digits wherever it is."""
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
    """The integral of F from `low` to `high` days after the age of `good`, by one rule for each."""
    half = (high - low) / 2
    nodes = (low + half)[:, None] + half[:, None] * _NODES
    sums: Floats = half * (_failed(model, np.broadcast_to(good[:, None], nodes.shape), nodes) @ _WEIGHTS)
    return sums
