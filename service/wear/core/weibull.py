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
        """The chance to be still good after `time` exposure days."""
        if time == 0:
            return 1.0
        log_hazard = self.shape * (math.log(time) - math.log(self.scale))
        return math.exp(-math.exp(min(log_hazard, 700)))

    def unavailability(self, time: float) -> float:
        """The mean fraction of the first `time` exposure days, above 0, that an item spends failed and undetected."""
        shape = min(self.shape, 1e7)
        return _mean_down(shape * (math.log(time) - math.log(self.scale)), 1 / shape)[0]

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
            return _exp(math.log(self.scale) + s * low)  # right to twelve digits
        slack = 1e-9 * (1 + abs(low) + abs(high))

        def too_long(log_x: float) -> float:
            down, log_up = _mean_down(log_x, s)
            # The smaller of the two means is more precise.
            return math.log(down / unavailability) if unavailability < 0.5 else math.log1p(-unavailability) - log_up

        log_x = brentq(too_long, low - slack, high + slack, xtol=1e-13)
        return _exp(math.log(self.scale) + s * log_x)


def _mean_down(log_x: float, s: float) -> tuple[float, float]:
    """The mean of F over (0, tau), and the log of that of S, for x = (tau/scale)^shape and s = 1/shape.

    The mean of S is M(s, s+1, -x), with Kummer's function M, and Gamma(1+s) P(s, x) / x^s, with the incomplete gamma
    function P (DLMF 8.5.1). Kummer's transformation (DLMF 13.2.39) turns the first form into a sum over n from 0 of
    positive terms, so that neither mean suffers from cancellation: the Poisson probability of n with mean x, times
    n!/((s+1)...(s+n)); the mean of F is the same sum with 1 minus that factor.
    """
    import numpy as np
    from scipy.special import gammaincc, gammaln

    x = math.exp(min(log_x, 700.0))
    if 500 < x <= s + 50:
        return 1.0, -x  # the mean of S is below 1e-190, and the sums would have more terms than a computer holds
    if x > s + 50:
        log_up = math.lgamma(1 + s) - s * log_x + math.log1p(-gammaincc(s, x))
        return -math.expm1(log_up), log_up
    n = np.arange(1, 50 + x + 12 * math.sqrt(x))
    poisson = np.exp(n * log_x - x - gammaln(n + 1))
    log_parts = -np.cumsum(np.log1p(s / n))
    return float(poisson @ -np.expm1(log_parts)), math.log(math.exp(-x) + float(poisson @ np.exp(log_parts)))


def _exp(log: float) -> float:
    return math.exp(log) if log < 709 else math.inf
