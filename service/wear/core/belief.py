"""What may be true of a class: models, and how likely each is. Pure.

Before anything is known of a class, the logarithm of its shape is normal around 1.5 with a standard deviation of 1/2
(common practice, no source): 95 of 100 shapes lie between 0.56 and 4.

A class that was fitted is believed to be as its fit or one of the models at the edge of what its lives leave
plausible. Where the logarithm of the likelihood is a parabola, the fit with a weight of 0.48 and a circle at the
depth of 1.92 with 0.52 have the mean and the covariance of the posterior, and are nearly the rule of degree five for
it (a center of 1/2 and a circle at the depth of 2; A. H. Stroud, "Approximate Calculation of Multiple Integrals",
1971, from memory). Each is then weighed by its shape.

A class with too few failures to be fitted is believed to have one of five shapes. Given a shape, failures come at a
constant rate in t^shape, and what is known of that rate is a gamma distribution, to which r failures over a sum T of
t^shape add r and T (NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.6, for a shape of 1; R. B. Abernethy's
Weibayes for others, from memory). Where nothing is known of it, Jeffreys' prior adds half a failure: five hubs that
were good for 90 days each fail at about 0.5 in 450 days, with all doubt about that.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

from service.wear.core.classes import Fitted
from service.wear.core.doubt import DEPTH
from service.wear.core.lives import Life
from service.wear.core.weibull import Weibull

Belief = tuple[tuple[float, Weibull], ...]
"""Models that may be true, and how likely each is."""

LOG_SHAPE: Final = NormalDist(math.log(1.5), 0.5)
"""The logarithm of a shape, before anything is known of a class."""
SHAPES: Final = tuple(math.exp(LOG_SHAPE.inv_cdf((step + 0.5) / 5)) for step in range(5))
"""Equally likely shapes."""
_AROUND: Final = 6
_NODES: Final = 5


def belief_of(fitted: Fitted) -> Belief:
    """A fit and its doubt as models with weights."""
    ring = fitted.edge[:: max(1, len(fitted.edge) // _AROUND)]
    share = 1 / DEPTH  # a circle with r^2 twice the depth has the right variance with 2/r^2 of the weight
    weighed = [(1 - share, fitted.model), *((share / len(ring), model) for model in ring)]
    return _made_sure((math.log(share) + _log_prior(model.shape), model) for share, model in weighed)


@dataclass(frozen=True)
class Rate:
    """What is known of a rate of failing: gamma with this shape, and `exposure` for its rate."""

    shape: float
    exposure: float

    def after(self, failures: float, exposure: float) -> "Rate":
        """What is known once so many more failures came in so much more exposure."""
        return Rate(self.shape + failures, self.exposure + exposure)

    @property
    def mean(self) -> float:
        """Failures in a unit of exposure."""
        return self.shape / self.exposure


JEFFREYS: Final = Rate(0.5, 0.0)
"""Nothing is known yet."""


LEAST: Final = 7.0
"""Exposure days of a life, on average, before which nothing is said (common practice, no source): a week. Of a first
evening the prior's half failure would be the whole answer, and of forty days to come it would make guesses.
"""


def belief_with_few(lives: Iterable[Life]) -> Belief | None:
    """What lives tell of a class that cannot be fitted; None before a life was seen for `LEAST` days on average.

    A failure between two tests counts from the middle between them. Exposure is in lives of the usual length, so that
    the prior of the rate favors no shape.
    """
    from scipy.special import roots_genlaguerre

    ends = [
        (
            life.lower if life.upper is None else (life.lower + life.upper) / 2,
            life.count,
            life.upper is not None,
        )
        for life in lives
    ]
    if not ends:
        return None
    usual = math.fsum(count * end for end, count, _ in ends) / sum(count for _, count, _ in ends)
    if usual < LEAST:
        return None
    failures = sum(count for _, count, failed in ends if failed)
    log_times = math.fsum(count * math.log(end / usual) for end, count, failed in ends if failed)
    nodes, weights = roots_genlaguerre(_NODES, failures - 0.5)
    models = []
    for shape in SHAPES:
        rate = JEFFREYS.after(failures, math.fsum(count * (end / usual) ** shape for end, count, _ in ends))
        log_share = failures * math.log(shape) + (shape - 1) * log_times - rate.shape * math.log(rate.exposure)
        models += [
            (
                log_share + math.log(weight),
                Weibull(shape, usual * float(rate.exposure / node) ** (1 / shape), 0.0),
            )
            for node, weight in zip(nodes, weights, strict=True)
        ]
    return _made_sure(models)


def _log_prior(shape: float) -> float:
    """The logarithm of the density of a shape."""
    return -0.5 * ((math.log(shape) - LOG_SHAPE.mean) / LOG_SHAPE.stdev) ** 2 - math.log(shape)


def _made_sure(models: Iterable[tuple[float, Weibull]]) -> Belief:
    """Models with log weights as a belief: the weights sum to 1."""
    all_ = list(models)
    top = max(log_weight for log_weight, _ in all_)
    total = math.fsum(math.exp(log_weight - top) for log_weight, _ in all_)
    return tuple((math.exp(log_weight - top) / total, model) for log_weight, model in all_)
