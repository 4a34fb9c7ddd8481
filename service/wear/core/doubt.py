"""The 95 % confidence region of a fit: all models that the lives do not reject.

The 95 % likelihood-ratio interval of any quantity is its range over the models whose log-likelihood lies less than
half of 3.84 below the maximum, 3.84 being the 95 % point of chi squared with one degree of freedom (tables; W. Q.
Meeker and L. A. Escobar, "Statistical Methods for Reliability Data", 1998, chapter 8, from memory). The set of these
is convex, because the log-likelihood is concave, so it is enough to find its edge in all directions from the maximum.
For few failures this is more accurate than a standard error.
"""

import math
from collections.abc import Callable, Iterable

from service.wear.core.lives import Life, aggregated
from service.wear.core.weibull import Weibull

DEPTH = 3.841458820694124 / 2
"""How far the log-likelihood at the edge is below its maximum."""
RAYS = 24
"""Directions in which the edge is searched; half as many give the same within 2 %."""


def edge(lives: Iterable[Life], model: Weibull) -> list[Weibull]:
    """Models all around the edge of the region; `model` is the one of maximum likelihood of the lives."""
    import numpy as np

    from service.wear.core.likelihood import LogLikelihood  # numpy would slow the start of every command

    likelihood = LogLikelihood(aggregated(lives))
    center = np.array(
        [
            model.shape * (likelihood.center - math.log(model.scale)),
            model.shape * likelihood.spread,
        ]
    )
    top = likelihood.at(center)
    round_again = np.linalg.inv(np.linalg.cholesky(-top.hessian)).T  # makes the set nearly a circle

    def reached(ray: "np.typing.NDArray[np.float64]") -> Weibull:
        most = -0.99 * center[1] / ray[1] if ray[1] < 0 else math.inf  # shapes are above 0
        far = _as_far_as(lambda r: top.value - likelihood.at(center + r * ray).value - DEPTH, most)
        alpha, k = center + far * ray
        shape = k / likelihood.spread
        log_scale = min(max(likelihood.center - alpha / shape, -700.0), 700.0)
        return Weibull(float(shape), math.exp(log_scale), top.value - DEPTH)

    angles = np.arange(RAYS) * 2 * np.pi / RAYS
    return [reached(round_again @ np.array([np.cos(angle), np.sin(angle)])) for angle in angles]


def _as_far_as(beyond: Callable[[float], float], most: float) -> float:
    """The zero at which `beyond` turns positive, or `most` if that is not before."""
    from scipy.optimize import brentq

    far = min(2.0, most)
    while beyond(far) < 0:
        if far == most:
            return most
        far = min(2 * far, most)
    return float(brentq(beyond, 0.0, far, xtol=1e-6, rtol=1e-6))
