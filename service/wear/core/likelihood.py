"""The log-likelihood of interval-censored lives under a Weibull model, with its derivatives.

With z = alpha + k x and x = (log t - center) / spread, the cumulative hazard is H(t) = exp(z): the shape is
k / spread, and log scale = center - alpha / shape. In (alpha, k) the log-likelihood is concave, because the
density of a smallest extreme value is log-concave and the probability of an interval inherits that (Prekopa,
1973). It is the sum of

    -H(lower)                 over every life: it was good until then
    log(1 - exp(-D))          over failures in (lower, upper], with D = H(upper) - H(lower)
    log f(t) + H(t)           over failures at a moment, which is log(k / spread) + z - log t
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.wear.core.lives import Life

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Derivatives:
    """A value at a point (alpha, k), its gradient (2,) and its Hessian (2, 2)."""

    value: float
    gradient: Floats
    hessian: Floats


class LogLikelihood:
    """The log-likelihood of `lives`, in which some failed and at least two times above 0 differ.

    `center` and `spread` are those of the log times.
    """

    def __init__(self, lives: Sequence[Life]) -> None:
        rows = [(life.lower, life.upper or np.inf, life.count) for life in lives]
        lower, upper, count = np.array(rows, dtype=float).T
        logs = np.log(np.concatenate([lower[lower > 0], upper[upper < np.inf]]))
        self.center = float(np.mean(logs))
        self.spread = float(np.std(logs))
        good, within, at_once = lower > 0, (lower < upper) & (upper < np.inf), lower == upper
        self._good = self._x(lower[good]), count[good]
        self._within = self._x(upper[within]), self._widths(lower[within], upper[within]), count[within]
        self._at_once = self._x(lower[at_once]), count[at_once]
        self._constant = -float(count[at_once] @ np.log(lower[at_once] * self.spread))
        self._failures = float(count[upper < np.inf].sum())

    def _x(self, times: Floats) -> Floats:
        x: Floats = (np.log(times) - self.center) / self.spread
        return x

    def _widths(self, lower: Floats, upper: Floats) -> Floats:
        """x(upper) - x(lower), precise for narrow intervals too; infinite from 0."""
        with np.errstate(divide="ignore"):
            widths: Floats = np.log1p((upper - lower) / lower) / self.spread
        return widths

    def start(self) -> Floats:
        """A point to climb from: k as if the log times varied like failures, and alpha to give that many."""
        exposure = sum(
            float(count @ _exp(x)) for x, count in (self._good, (self._within[0], self._within[2]))
        )
        return np.array([np.log(self._failures / exposure), 1.0])

    def at(self, point: Floats) -> Derivatives:
        """Value and derivatives at `point`, (alpha, k) with k above 0."""
        parts = [self._survived(point), self._failed_within(point), self._failed_at_once(point)]
        return Derivatives(
            sum(part.value for part in parts) + self._constant,
            np.sum([part.gradient for part in parts], axis=0),
            np.sum([part.hessian for part in parts], axis=0),
        )

    def _survived(self, point: Floats) -> Derivatives:
        x, count = self._good
        hazard = count * _exp(point[0] + point[1] * x)
        slope = np.stack([np.ones_like(x), x])
        return Derivatives(-float(hazard.sum()), -slope @ hazard, -(slope * hazard) @ slope.T)

    def _failed_within(self, point: Floats) -> Derivatives:
        """In terms of w = log D = z(upper) + log(1 - exp(-k width)), which loses nothing to cancellation."""
        (alpha, k), (x, width, count) = point, self._within
        with np.errstate(over="ignore", invalid="ignore"):
            gain = np.where(width < np.inf, width / np.expm1(k * width), 0.0)
            curve = np.where(gain > 0, -gain * (gain + width), 0.0)  # the second derivative of w by k
            w = alpha + k * x + np.log(-np.expm1(-k * width))
        d = _exp(w)
        with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
            values = np.where(d > 1e-9, np.log(-np.expm1(-d)), w - d / 2)
            first = np.where(d > 0, d / np.expm1(d), 1.0)
        second = first * (1 - first - d)
        slope = np.stack([np.ones_like(x), x + gain])
        hessian = (slope * count * second) @ slope.T
        hessian[1, 1] += (count * first) @ curve
        return Derivatives(float(count @ values), slope @ (count * first), hessian)

    def _failed_at_once(self, point: Floats) -> Derivatives:
        (alpha, k), (x, count) = point, self._at_once
        failures, sum_x = count.sum(), count @ x
        value = failures * (np.log(k) + alpha) + k * sum_x
        return Derivatives(
            float(value), np.array([failures, failures / k + sum_x]), np.diag([0.0, -failures / k**2])
        )


def _exp(log: Floats) -> Floats:
    return np.exp(np.minimum(log, 300.0))  # beyond this no model is near the maximum, and sums stay finite
