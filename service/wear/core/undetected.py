"""How much of a season items spend failed while nobody knows, given their ages and the days of the tests. Pure.

A pass renews nothing: an item that passes goes on with its age, and only a repair makes it as good as new. What a test
finds bad is repaired at once, and may fail again. All items are good when the season begins, and every test finds all
that is bad.

An item of a life that began at age b when it was last known to be good has failed v days later with

    F(v | b) = 1 - exp(-D),   D = ((b + v)/scale)^shape - (b/scale)^shape

Between two tests the chance that it is bad and nobody knows is that; at the second one that part of it begins a life of
its own, and the rest goes on. So a season is a sum of integrals of F(v | b) over stretches between tests, one for each
life that may have begun: an age of the first day, or a test that found something. They are taken by Gauss-Legendre
quadrature, with stretches halved until halving changes nothing; they are first cut where D passes `_LEVELS`, so that a
steep model's fall is never stepped over.

With a constant rate r and one test in the middle of a season of 2 days the answer is 1 - (1 - exp(-r))/r.
"""

import math
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
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


def season_bad(model: Weibull, days: float, ages: Sequence[float], tests: Sequence[float]) -> float:
    """The mean, over items and over the moments of a season, of the chance that an item is bad and nobody knows.

    `ages` of the items on the first day, of which there is one at least, and `days` of the season, above 0, are in
    exposure days; `tests` are days from the first one on, from 0 to `days`, in any order. Right to 1e-9.
    """
    distinct = Counter(ages)
    edges = sorted({0.0, *tests, days})
    stretches = list(pairwise(edges))
    found = np.zeros(len(stretches))  # at the end of each stretch: the share of items that is bad then
    bad_days = 0.0
    age = np.array(list(distinct), float)
    share = np.array([count / len(ages) for count in distinct.values()])
    for number, (begin, end) in enumerate(stretches):
        good = share * _still_good(model, age, begin)
        bad_days += float(good @ _bad_days(model, age + begin, np.full_like(age, end - begin)))
        found[number] += float(good @ _failed(model, age + begin, np.full_like(age, end - begin)))
    begins, ends = np.array(stretches).T
    for number in range(len(stretches) - 1):
        since = begins[number + 1 :] - ends[number]  # how old what was repaired then is when a stretch begins
        good = found[number] * _still_good(model, np.zeros_like(since), since)
        lengths = ends[number + 1 :] - begins[number + 1 :]
        bad_days += float(good @ _bad_days(model, since, lengths))
        found[number + 1 :] += good * _failed(model, since, lengths)
    return bad_days / days


def _more_hazard(model: Weibull, good: Floats, days: Floats) -> Floats:
    """The cumulative hazard of `days` more after the age of `good`, with all its digits where the days are few."""
    with np.errstate(divide="ignore", over="ignore"):
        logs = model.shape * (np.log(good + days) - math.log(model.scale))
        longer = np.divide(days, good, out=np.full(good.shape, np.inf), where=good > 0)
    hazard: Floats = np.exp(np.minimum(logs, 700.0)) * -np.expm1(-model.shape * np.log1p(longer))
    return hazard


def _still_good(model: Weibull, good: Floats, days: Floats | float) -> Floats:
    return np.exp(-_more_hazard(model, good, np.broadcast_to(days, good.shape)))


def _failed(model: Weibull, good: Floats, days: Floats) -> Floats:
    return -np.expm1(-_more_hazard(model, good, days))


def _bad_days(model: Weibull, good: Floats, days: Floats) -> Floats:
    """The mean time that an item, good at the age of `good`, is bad in the next `days`, for each of them."""
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
