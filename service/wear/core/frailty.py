"""How an item differs from its class, learned from its own record. Pure.

An item of a class with cumulative hazard h(t) fails with z h(t), in every one of its lives: z is its *frailty*, the
same before and after a repair, for the place that it runs along and the hands that coil it stay. Over the class z
follows a gamma distribution with mean 1 and variance v (J. W. Vaupel, K. G. Manton and E. Stallard, Demography 16,
1979: mortality with gamma frailty; from memory), so that

    E[exp(-z a)] = (1 + v a)^(-1/v)

and a class whose survival is S(t) has h(t) = (S(t)^(-v) - 1)/v: what is said of the class as a whole stays true.
Each life that was good at t multiplies the likelihood by exp(-z h(t)), each failure in (l, u] by
exp(-z h(l)) - exp(-z h(u)): an item without failures drifts slowly below its class, one that fails again and again
rises above it, and one about which little is known stays where its class is.

How much items differ, v, is learned from the whole program, from a stated prior: exponential with mean 1/2 (common
practice, no source), as `LEVELS` equally likely values. Integrals over z with failures in the record are by
Gauss-Laguerre quadrature, where exp(-z a) and the prior are in the weight and only factors 1 - exp(-z d) are left.

A worked example: v = 1/2, and an item that failed twice early (by h = 0.1 each) in place of not at all over as much
use (h = 0.2) has a mean z of 1.9 in place of 0.9.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.wear.core.belief import Belief
from service.wear.core.lives import Life
from service.wear.core.weibull import Weibull

Floats = NDArray[np.float64]

LEVELS: Final = 8
VARIANCES: Final = tuple(-0.5 * math.log(1 - (level + 0.5) / LEVELS) for level in range(LEVELS))
"""Equally likely values of the variance of frailty, before anything is known of a program."""
_NODES: Final = 20
_MOST: Final = 500.0
"""Cumulative hazards end here: nothing lives to see more, and their exponentials still fit a number."""
_SURE: Final = 1 - 1e-12
"""No chance is more than this, so that all have logarithms."""


@dataclass(frozen=True)
class Records:
    """The lives of items of one class, as arrays: where each was good last, and where the failed ones ended.

    `owner` (lives,) says whose a life is, of `items`; `upper` is infinite for those that did not fail.
    """

    items: int
    owner: NDArray[np.intp]
    lower: Floats
    upper: Floats

    @classmethod
    def of(cls, lives: Sequence[Sequence[Life]]) -> "Records":
        """The records of items with these lives."""
        rows = [
            (item, life.lower, math.inf if life.upper is None else life.upper)
            for item, own in enumerate(lives)
            for life in own
            for _ in range(life.count)
        ]
        owner, lower, upper = zip(*rows, strict=True) if rows else ((), (), ())
        return cls(len(lives), np.array(owner, np.intp), np.array(lower, float), np.array(upper, float))

    def given(self, models: Sequence[Weibull], variance: float) -> "Given":
        """The records seen with each of these models of their class, and one variance of frailty."""

        def hazard(times: Floats) -> Floats:
            return conditional_hazard(models, variance, times)

        lower, failed = hazard(self.lower), self.upper < np.inf
        widths = hazard(self.upper[failed]) - lower[:, failed]
        survived: Floats = np.stack([np.bincount(self.owner, row, self.items).astype(float) for row in lower])
        slopes = 1 + variance * lower[:, failed]
        owner = self.owner[failed]
        which, starts = np.unique(owner, return_index=True)
        return Given(1 / variance, survived, owner, which, starts, widths, slopes, hazard)


@dataclass(frozen=True)
class Given:
    """Records seen with several models at once: `k`, of the prior Gamma(k, k); the cumulative hazard that each item
    survived (models, items); and for each failure, in the order of items, whose it is (failures,), the hazard between
    the tests around it, and how much steeper there than the class as a whole an item of frailty 1 gets worse (models,
    failures). `which` items failed, and where the failures of each start.
    """

    k: float
    survived: Floats
    failed: NDArray[np.intp]
    which: NDArray[np.intp]
    starts: NDArray[np.intp]
    widths: Floats
    slopes: Floats
    hazard: Callable[[Floats], Floats]

    def log_likelihood(self, more: Floats | float = 0.0) -> Floats:
        """For each item, the log-likelihood of its record had it survived `more` besides (models, items)."""
        return self._integrated(more)[0]

    def mean(self) -> Floats:
        """The mean frailty of each item, given its record (models, items)."""
        return self._integrated(0.0)[1]

    def _integrated(self, more: Floats | float) -> tuple[Floats, Floats]:
        nodes, log_weights = _quadrature(self.k)
        rate = self.k + self.survived + more
        logs, means = -self.k * np.log(rate / self.k), self.k / rate
        if len(self.which):
            z = nodes / rate[:, self.failed, None]
            # Passed and failed on one day: a density, as the class counts it.
            at_once = z * self.slopes[:, :, None]
            within = np.where(self.widths[:, :, None] > 0, -np.expm1(-z * self.widths[:, :, None]), at_once)
            terms = log_weights + np.add.reduceat(np.log(np.maximum(within, 1e-300)), self.starts, axis=1)
            top = terms.max(axis=2)
            shares = np.exp(terms - top[:, :, None])
            logs[:, self.which] += top + np.log(shares.sum(axis=2))
            means[:, self.which] = (shares @ nodes) / shares.sum(axis=2) / rate[:, self.which]
        return logs, means


def conditional_hazard(models: Sequence[Weibull], variance: float, times: Floats) -> Floats:
    """The cumulative hazard of an item of frailty 1 at `times` (times,), in a class whose survival is each model's
    (models, times).
    """
    shapes, scales = np.array([(model.shape, model.scale) for model in models]).T[:, :, None]
    with np.errstate(divide="ignore"):
        logs = shapes * (np.log(times) - np.log(scales))
    marginal = np.exp(np.minimum(logs, math.log(_MOST)))
    hazard: Floats = np.expm1(np.minimum(variance * marginal, _MOST)) / variance
    return hazard


def spread(seen: Sequence[tuple[Records, Weibull]]) -> tuple[float, ...]:
    """How likely each of `VARIANCES` is, given the records of all classes, each with its model; they sum to 1."""
    logs = np.array(
        [
            math.fsum(float(records.given([model], v).log_likelihood().sum()) for records, model in seen)
            for v in VARIANCES
        ]
    )
    shares = np.exp(logs - logs.max())
    return tuple(float(share) for share in shares / shares.sum())


def figures(
    records: Records, belief: Belief, likely: Sequence[float], ages: Sequence[tuple[float, float, float]]
) -> list[tuple[float, float, float]]:
    """For each item: the chance that it has failed by a day, the same if it is good today, and its mean frailty.

    `likely` weighs `VARIANCES`; `ages` of each item are in exposure days, at its last pass, today and on the day.
    """
    passed, today, day = np.array(ages, float).T
    day = np.maximum(passed, day)
    today = np.clip(today, passed, day)
    weights, models = zip(*belief, strict=True)
    total = np.zeros((3, records.items))
    for variance, share in zip(VARIANCES, likely, strict=True):
        by_model = _figures_with(records.given(models, variance), passed, today, day)
        total += share * np.einsum("m,fmi->fi", np.array(weights), by_model)
    return [(failed, if_good, frailty) for failed, if_good, frailty in total.T.tolist()]


def _figures_with(given: Given, passed: Floats, today: Floats, day: Floats) -> Floats:
    """The three figures of each item by each model (3, models, items)."""
    start, now, end = (given.hazard(ages) for ages in (passed, today, day))
    as_it_is, good_now, good_then = (given.log_likelihood(survived) for survived in (0.0, now - start, end - start))
    failed, if_good = -np.expm1(good_then - as_it_is), -np.expm1(good_then - good_now)
    return np.stack([np.minimum(failed, _SURE), np.minimum(if_good, _SURE), given.mean()])


@lru_cache(maxsize=2 * LEVELS)
def _quadrature(k: float) -> tuple[Floats, Floats]:
    """Nodes and log weights for means over Gamma(k, 1)."""
    from scipy.special import gammaln, roots_genlaguerre

    nodes, weights = roots_genlaguerre(_NODES, k - 1)
    return nodes, np.log(weights) - gammaln(k)
