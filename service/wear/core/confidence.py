"""The 95 % confidence region of a fit: all models that the lives do not reject.

The 95 % likelihood-ratio interval of any quantity is its range over the models whose log-likelihood lies less than
half of 3.84 below the maximum, 3.84 being the 95 % point of chi squared with one degree of freedom (tables; W. Q.
Meeker and L. A. Escobar, "Statistical Methods for Reliability Data", 1998, chapter 8, from memory). The set of these
is convex, because the log-likelihood is concave, so it is enough to find its edge in all directions from the maximum.
For few failures this is more accurate than a standard error.
"""

import math
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Final

from service.wear.core.lives import Life, aggregated
from service.wear.core.weibull import Weibull

if TYPE_CHECKING:
    from service.wear.core.grid import Floats

DEPTH = 3.841458820694124 / 2
"""How far the log-likelihood at the edge is below its maximum."""
RAYS = 24
"""Directions in which the edge is searched; half as many give the same within 2 %."""

_CLOSE: Final = 1e-7
"""How close to the depth the likelihood of a model at the edge is."""
_ROUNDING: Final = 1e-14
"""The same as a part of the log-likelihood, which no longer has more digits where lives are counted by the million."""
_NARROW: Final = 1e-12
"""How far apart the ends are, as a part of the way, when nothing is left between them."""
_STEPS: Final = 200
"""More than any function takes that is computed to some digits."""


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

    angles = np.arange(RAYS) * 2 * np.pi / RAYS
    rays = np.column_stack([np.cos(angles), np.sin(angles)]) @ round_again.T
    with np.errstate(divide="ignore"):
        most = np.where(rays[:, 1] < 0, -0.99 * center[1] / rays[:, 1], np.inf)  # shapes are above 0

    def beyond(far: "Floats") -> "Floats":
        return top.value - DEPTH - likelihood.values(center + far[:, None] * rays)

    close = max(_CLOSE, _ROUNDING * abs(top.value))
    models = []
    for alpha, k in center + _as_far_as(beyond, most, close)[:, None] * rays:
        shape = float(k) / likelihood.spread
        log_scale = min(max(likelihood.center - float(alpha) / shape, -700.0), 700.0)
        models.append(Weibull(shape, math.exp(log_scale), top.value - DEPTH))
    return models


def _as_far_as(beyond: "Callable[[Floats], Floats]", most: "Floats", close: float) -> "Floats":
    """The zeros at which each of the convex functions `beyond` turns positive, or `most` where that is not before.

    They are below 0 at 0, and their values count as 0 where they are as `close`. All are enclosed at once and then
    narrowed by the Illinois rule (M. Dowell and P. Jarratt, BIT 11, 1971; from memory), which halves the weight of an
    end that stays.
    """
    import numpy as np

    low, high = np.zeros_like(most), np.minimum(2.0, most)
    at_low, at_high = beyond(low), beyond(high)
    while (short := (at_high < 0) & (high < most)).any():
        low, at_low = np.where(short, high, low), np.where(short, at_high, at_low)
        high = np.where(short, np.minimum(2 * high, most), high)
        at_high = beyond(high)
    inside, stayed = at_high >= 0, np.zeros_like(most)
    for _ in range(_STEPS):
        with np.errstate(invalid="ignore", divide="ignore"):
            middle = np.where(inside, high - at_high * (high - low) / (at_high - at_low), most)
        at_middle = beyond(middle)
        if (~inside | (np.abs(at_middle) <= close) | (high - low <= _NARROW * high)).all():
            return middle
        is_low = at_middle < 0
        at_high = np.where(is_low & (stayed > 0), at_high / 2, at_high)
        at_low = np.where(~is_low & (stayed < 0), at_low / 2, at_low)
        low, at_low = np.where(is_low, middle, low), np.where(is_low, at_middle, at_low)
        high, at_high = np.where(is_low, high, middle), np.where(is_low, at_high, at_middle)
        stayed = np.where(is_low, 1, -1)
    raise ArithmeticError("the edge of what is plausible was not reached")
