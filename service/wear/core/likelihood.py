"""The log-likelihood of interval-censored lives under a Weibull model, with its derivatives.

With z = alpha + k x and x = (log t - center) / spread, the cumulative hazard is H(t) = exp(z): the shape is
k / spread, and log scale = center - alpha / shape. In (alpha, k) the log-likelihood is concave, because the
density of a smallest extreme value is log-concave and the probability of an interval inherits that (Prekopa,
1973). It is the sum of

    -H(lower)                 over every life: it was good until then
    log(1 - exp(-D))          over failures in (lower, upper], with D = H(upper) - H(lower)
    log f(t) + H(t)           over failures at a moment, which is log(k / spread) + z - log t
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.wear.core.lives import Life

Floats = NDArray[np.float64]

_TINY: Final = 1e-300
"""Has a logarithm, and is less than any sum that is searched."""
_LEAST: Final = 1 / math.expm1(1)
"""What d / (exp(d) - 1) is at d = 1, below which it is more."""
_FEW: Final = 1e-9
"""Below this d, log(1 - exp(-d)) is log d - d/2 to all digits."""


@dataclass(frozen=True, slots=True)
class Derivatives:
    """A value at a point (alpha, k), its gradient (2,) and its Hessian (2, 2)."""

    value: float
    gradient: Floats
    hessian: Floats


class LogLikelihood:
    """The log-likelihood of `lives`, one of which is known to be good later than the upper bound of the first failure.

    `center`, in log time, is the moment of most exact failures, or else the middle between those two bounds: times
    close to it lose no digits, and a steep model falls there. `spread` is the standard deviation of the log times.
    """

    def __init__(self, lives: Sequence[Life]) -> None:
        rows = [(life.lower, life.upper or np.inf, life.count) for life in lives]
        lower, upper, count = np.array(rows, dtype=float).T
        self.spread = float(np.std(np.log(np.concatenate([lower[lower > 0], upper[upper < np.inf]]))))
        good, within, at_once = lower > 0, (lower < upper) & (upper < np.inf), lower == upper
        if at_once.any():
            self._middle = float(lower[at_once][count[at_once].argmax()])
        else:
            self._middle = math.sqrt(lower.max()) * math.sqrt(upper.min())
        self.center = math.log(self._middle)
        self._good = self._x(lower[good]), count[good]
        self._within = self._x(upper[within]), self._widths(lower[within], upper[within]), count[within]
        self._at_once = self._x(lower[at_once]), count[at_once]
        self._constant = -float(count[at_once] @ (np.log(lower[at_once]) + np.log(self.spread)))
        self._failures = float(count[upper < np.inf].sum())

    def _x(self, times: Floats) -> Floats:
        near = (times > self._middle / 2) & (times < self._middle * 2)
        x: Floats = np.empty_like(times)
        x[near] = np.log1p((times[near] - self._middle) / self._middle)
        x[~near] = np.log(times[~near]) - self.center
        return x / self.spread

    def _widths(self, lower: Floats, upper: Floats) -> Floats:
        """x(upper) - x(lower), precise for narrow intervals too; infinite for a lower bound of 0."""
        widths: Floats = np.full_like(lower, np.inf)
        narrow, wide = lower > upper / 2, (lower > 0) & (lower <= upper / 2)
        widths[narrow] = np.log1p((upper[narrow] - lower[narrow]) / lower[narrow])
        widths[wide] = np.log(upper[wide]) - np.log(lower[wide])
        return widths / self.spread

    def ridge(self, k: float) -> float:
        """The alpha of the greatest likelihood for this k, which is above 0.

        There the derivative by alpha is 0: the sum over failures of d / (exp(d) - 1), or of 1 for an exact one, equals
        the sum of H(lower). The first sum is at most the number of failures. It is at least the term of the first
        failure at d = 1: if it were less, H(lower) of the life that is good later would be below 1, so that failure's d
        would be below 1, and its term alone would be more.
        """
        from scipy.optimize import brentq

        (x, count), (upper, width, failed) = self._good, self._within
        log_exposure = _log_sum(np.log(count) + k * x)
        moments = float(self._at_once[1].sum())
        offset = k * upper + _log_share(k * width)

        def wanting(alpha: float) -> float:
            total = float((failed * _wanted(_exp(alpha + offset))).sum()) + moments
            return math.log(max(total, _TINY)) - alpha - log_exposure

        least, most = math.log(_LEAST) - log_exposure, math.log(self._failures) - log_exposure
        slack = 1e-9 * (1 + abs(log_exposure))
        return float(brentq(wanting, least - slack, most + slack, xtol=1e-13, maxiter=1000))

    def at(self, point: Floats, about: float = 0.0) -> Derivatives:
        """Value and derivatives at `point`, (alpha, k) with k above 0.

        The derivatives by k are taken with alpha + k `about` held constant. Lives at that x, however many, then add
        nothing to them; with `about` 0 they would add terms that cancel only up to rounding.
        """
        parts = [self._survived(point, about), self._failed_within(point, about), self._failed_at_once(point, about)]
        return Derivatives(
            sum(part.value for part in parts) + self._constant,
            np.sum([part.gradient for part in parts], axis=0),
            np.sum([part.hessian for part in parts], axis=0),
        )

    def values(self, points: Floats) -> Floats:
        """The values at `points` (points, 2), all at once (points,)."""
        alpha, k = points[:, :1], points[:, 1:]
        x, count = self._good
        values = self._constant - _exp(alpha + k * x) @ count
        x, width, count = self._within
        w = alpha + k * x + _log_share(k * width)
        d = _exp(w)
        values += np.where(d > _FEW, _log_share(d), w - d / 2) @ count
        x, count = self._at_once
        together: Floats = values + count.sum() * (np.log(k) + alpha)[:, 0] + k[:, 0] * (count @ x)
        return together

    def _survived(self, point: Floats, about: float) -> Derivatives:
        x, count = self._good
        hazard = count * _exp(point[0] + point[1] * x)
        slope = np.stack([np.ones_like(x), x - about])
        return Derivatives(-float(hazard.sum()), -slope @ hazard, -(slope * hazard) @ slope.T)

    def _failed_within(self, point: Floats, about: float) -> Derivatives:
        """In terms of w = log D = z(upper) + log(1 - exp(-k width)), which avoids cancellation."""
        (alpha, k), (x, width, count) = point, self._within
        with np.errstate(over="ignore", invalid="ignore"):
            gain = np.where(width < np.inf, width / np.expm1(k * width), 0.0)
            curve = np.where(gain > 0, -gain * (gain + width), 0.0)  # the second derivative of w by k
        w = alpha + k * x + _log_share(k * width)
        d = _exp(w)
        values = np.where(d > _FEW, _log_share(d), w - d / 2)
        first = _wanted(d)
        second = first * np.where(d > 1e-3, 1 - first - d, -d / 2 - d * d / 12)
        slope = np.stack([np.ones_like(x), x - about + gain])
        hessian = (slope * count * second) @ slope.T
        hessian[1, 1] += (count * first) @ curve
        return Derivatives(float(count @ values), slope @ (count * first), hessian)

    def _failed_at_once(self, point: Floats, about: float) -> Derivatives:
        (alpha, k), (x, count) = point, self._at_once
        failures = count.sum()
        value = failures * (np.log(k) + alpha) + k * (count @ x)
        gradient = np.array([failures, failures / k + count @ (x - about)])
        return Derivatives(float(value), gradient, np.diag([0.0, -failures / k**2]))


def _wanted(d: Floats) -> Floats:
    """d / (exp(d) - 1), the derivative of log(1 - exp(-d)) by log d."""
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        wanted: Floats = np.where(d > 0, d / np.expm1(d), 1.0)
    return wanted


def _log_share(d: Floats) -> Floats:
    """log(1 - exp(-d)), without cancellation where exp(-d) is close to 0 or to 1."""
    with np.errstate(divide="ignore"):
        share: Floats = np.where(d > math.log(2), np.log1p(-np.exp(-d)), np.log(-np.expm1(-d)))
    return share


def _log_sum(logs: Floats) -> float:
    """The log of the sum of the numbers whose logs these are (log-sum-exp)."""
    most = float(logs.max())
    return most + math.log(float(np.exp(logs - most).sum()))


def _exp(log: Floats) -> Floats:
    return np.exp(np.minimum(log, 300.0))  # beyond this no model is near the maximum, and sums stay finite
