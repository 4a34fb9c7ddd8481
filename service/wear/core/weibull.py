"""The Weibull model S(t) = exp(-(t/scale)^shape), and how long an item may go between tests under it."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Weibull:
    """A fitted model; `scale` in exposure days. Below a shape of 1 failures get rarer with use, above it likelier."""

    shape: float
    scale: float
    log_likelihood: float

    def survival(self, time: float) -> float:
        """The chance to be good still after `time` exposure days."""
        if time == 0:
            return 1.0
        log_hazard = self.shape * (math.log(time) - math.log(self.scale))
        return math.exp(-math.exp(min(log_hazard, 700)))

    def unavailability(self, time: float) -> float:
        """The mean fraction of the first `time` exposure days, above 0, that an item spends failed and undetected."""
        shape = min(self.shape, 1e7)
        return _mean_down(shape * (math.log(time) - math.log(self.scale)), 1 / shape)

    def interval(self, unavailability: float) -> float:
        """The longest time between tests, in exposure days, for an item that starts as new.

        Over that time the item spends the fraction `unavailability`, in (0, 1), failed and undetected on average:
        (1/tau) times the integral of F from 0 to tau. That mean grows with tau, so there is one solution.
        """
        from scipy.optimize import brentq

        shape = min(self.shape, 1e7)  # a step to seven digits, which a steeper one would not change
        s = 1 / shape
        low = math.log(unavailability) + math.log1p(1 / s)  # because the mean is at most x s / (1 + s)
        high = shape * (math.lgamma(1 + s) - math.log1p(-unavailability))  # S integrates to Gamma(1 + s)
        if unavailability < 1e-12:
            return _exp(math.log(self.scale) + s * low)  # right to that many digits
        slack = 1e-9 * (1 + abs(low) + abs(high))
        log_x = brentq(
            lambda log_x: math.log(_mean_down(log_x, s) / unavailability),
            low - slack,
            high + slack,
            xtol=1e-13,
        )
        return _exp(math.log(self.scale) + s * log_x)


def _mean_down(log_x: float, s: float) -> float:
    """The mean of F over (0, tau), for x = (tau/scale)^shape and s = 1/shape, without cancellation.

    It is 1 - M(s, s+1, -x), with Kummer's function M, and 1 - Gamma(1+s) P(s, x) / x^s, with the incomplete
    gamma function P (DLMF 8.5.1). Kummer's transformation (DLMF 13.2.39) turns the first form into a sum over
    n from 1 of positive terms: the Poisson probability of n with mean x, times 1 - n!/((s+1)...(s+n)).
    """
    import numpy as np
    from scipy.special import gammaincc, gammaln

    x = math.exp(min(log_x, 700.0))
    if x > s + 50:
        return -math.expm1(math.lgamma(1 + s) - s * log_x + math.log1p(-gammaincc(s, x)))
    n = np.arange(1, 50 + x + 12 * math.sqrt(x))
    poisson = np.exp(n * log_x - x - gammaln(n + 1))
    return float(poisson @ -np.expm1(-np.cumsum(np.log1p(s / n))))


def _exp(log: float) -> float:
    return math.exp(log) if log < 709 else math.inf
