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
from collections.abc import Sequence
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
_AT_ONCE: Final = 50_000
"""Ages times stretches that are reckoned together, so that their nodes fit the memory."""
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
    bad = [
        bad_days(model, some, some, edges).sum(axis=1)
        for some in np.array_split(age, 1 + age.size * len(edges) // _AT_ONCE)
    ]
    return float(share @ np.concatenate(bad)) / days


def bad_days(model: Weibull, passed: Floats, ages: Floats, edges: Sequence[float]) -> Floats:
    """How long an item is bad on average and nobody knows, in each stretch between `edges` (items, stretches).

    `ages` (items,) are those at the first of the edges, and `passed` (items,), none later, those at which the items
    were last known to be good. Edges are days, in order; at each but the first and the last one all is tested.
    """
    begins, ends = np.array(edges[:-1]) - edges[0], np.array(edges[1:]) - edges[0]
    lengths = ends - begins
    at_begin = ages[:, None] + begins
    good = _still_good(model, passed[:, None], (ages - passed)[:, None] + begins)
    known = good.copy()  # to be good when a stretch begins, but for the first one, which no test begins
    known[:, 0] = 1.0
    bad = (known - good) * lengths + good * _bad_days(model, at_begin, lengths)
    found = known - good + good * _failed(model, at_begin, lengths)
    for number in range(len(lengths) - 1):
        since = begins[number + 1 :] - ends[number]  # how old what was repaired then is when a stretch begins
        good_since, left = _still_good(model, np.zeros_like(since), since), lengths[number + 1 :]
        bad[:, number + 1 :] += found[:, number, None] * (good_since * _bad_days(model, since, left))
        found[:, number + 1 :] += found[:, number, None] * (good_since * _failed(model, since, left))
    return bad


def _more_hazard(model: Weibull, good: Floats, days: Floats) -> Floats:
    """The cumulative hazard of `days` more after the age of `good`, with all its digits where the days are few."""
    good, days = np.broadcast_arrays(good, days)
    with np.errstate(divide="ignore", over="ignore"):
        logs = model.shape * (np.log(good + days) - math.log(model.scale))
        longer = np.divide(days, good, out=np.full(good.shape, np.inf), where=good > 0)
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
    found[~exact] = _by_quadrature(model, good[~exact], days[~exact])
    return found


def _by_quadrature(model: Weibull, good: Floats, days: Floats) -> Floats:
    """The same, right to all digits wherever it is."""
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
