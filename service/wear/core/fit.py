"""Fitting a Weibull model to lives of which tests only say between which two days they ended.

The log-likelihood is concave (see `likelihood`), so it has one maximum or none, and which of the two can be told
before looking for it. There is none
- if one moment lies within the bounds of every failure, and no survivor is known to be good later: the steeper
  the model at that moment, the likelier it makes the lives, without end;
- if every failure is bounded by 0 and its first test, and these tests came on average (of log time) no later than
  the survivors' last ones: then failing has nothing to do with use, and the shape falls to 0.

The maximum is looked for along the ridge, which holds the best alpha beside each k: the likelihood rises along it up
to the maximum and falls beyond, so the place can be enclosed. Steps in both at once are lost where lives are counted
a million to one, or differ by their last digits: there the slopes are steep beyond number, or level.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from service.wear.core.lives import Life, aggregated
from service.wear.core.weibull import Weibull

if TYPE_CHECKING:
    from service.wear.core.likelihood import LogLikelihood

_FLATTEST: Final = 0.003
"""The least shape that is looked for. Flatter ones have no scale that numbers carry, or an endless mean life."""
_STEEPEST: Final = 1e-120
"""The least 1/k: no likelihood falls as late as beyond, unless rounding swallowed some of its counts."""


@dataclass(frozen=True, slots=True)
class NoModel:
    """The lives do not determine a model; `why` is a sentence."""

    why: str


def fit(lives: Iterable[Life]) -> Weibull | NoModel:
    """The Weibull model of maximum likelihood, or why there is none.

    Raises `ArithmeticError` if rounding swallowed what would tell: with counts of 10^16 and more to one.
    """
    distinct = aggregated(lives)
    if why := _why_not(distinct):
        return NoModel(why)
    import numpy as np  # it would slow the start of every command

    from service.wear.core.likelihood import LogLikelihood

    likelihood = LogLikelihood(distinct)
    if k := _likeliest_k(likelihood):
        alpha, shape = likelihood.ridge(k), k / likelihood.spread
        log_scale = likelihood.center - alpha / shape
        if _fits_numbers(shape, log_scale):
            return Weibull(shape, math.exp(log_scale), likelihood.at(np.array([alpha, k])).value)
    return NoModel("Failing depends so little on use that a shape and a scale cannot be told.")


def _fits_numbers(shape: float, log_scale: float) -> bool:
    """Whether numbers carry the scale, and whatever interval between tests is asked for.

    That is at most the mean life, scale times Gamma(1 + 1/shape), over the availability that is left: at least 2^-53.
    """
    return log_scale > -700 and log_scale + math.lgamma(1 + 1 / shape) - math.log(2**-53) < 709


def _why_not(lives: Sequence[Life]) -> str | None:
    """Why the likelihood has no maximum, or None if it has one."""
    failed = [(life.lower, life.upper, life.count) for life in lives if life.upper is not None]
    failures = sum(count for _, _, count in failed)
    if failures < 2:
        return f"A fit needs at least two failures, and here {'is one' if failures else 'are none'}."
    latest_start = max(life.lower for life in lives)
    earliest_end = min(upper for _, upper, _ in failed)
    if latest_start <= earliest_end * (1 + 1e-12):
        return (
            f"All failures may have come at one moment, between {latest_start:g} and {earliest_end:g}, and nothing "
            "is known to be good later, so how failing grows with use cannot be told."
        )
    if all(lower == 0 for lower, _, _ in failed):
        failed_log = math.fsum(count * math.log(upper) for _, upper, count in failed) / failures
        good = [(life.lower, life.count) for life in lives if life.upper is None and life.lower > 0]
        good_log = math.fsum(count * math.log(lower) for lower, count in good) / sum(count for _, count in good)
        if failed_log <= good_log:
            return "The items that failed were used no longer than those still good, so failing cannot be tied to use."
    return None


def _likeliest_k(likelihood: "LogLikelihood") -> float | None:
    """The k of the maximum; None if it is flatter than the flattest.

    It is enclosed as 1/k, in which the slope is a straight line for failures at a moment, and nearly one for others.
    """
    import numpy as np
    from scipy.optimize import brentq

    def slope(flatness: float) -> float:
        k = 1 / flatness
        point = np.array([likelihood.ridge(k), k])
        first = likelihood.at(point)
        here = likelihood.at(point, first.hessian[0, 1] / first.hessian[0, 0])  # about where the lives weigh most
        aside = here.gradient[0] / here.hessian[0, 0]  # what rounding left of the way to the ridge
        return float(here.gradient[1] - here.hessian[0, 1] * aside)

    flattest = 1 / (_FLATTEST * likelihood.spread)
    if enclosed := _enclosed(slope, min(1.0, flattest), flattest):
        return 1 / float(brentq(slope, *enclosed, xtol=1e-300, rtol=1e-13, maxiter=1000))
    return None


def _enclosed(slope: Callable[[float], float], start: float, most: float) -> tuple[float, float] | None:
    """Two numbers between which the growing function `slope` is 0; None if it is not before `most`.

    Raises `ArithmeticError` if it stays above 0 down to any number that there is a use for.
    """
    at, factor, upward = start, 4.0, slope(start) < 0
    while at > _STEEPEST:
        beyond = min(at * factor, most) if upward else at / factor
        if beyond == at:
            return None
        if (slope(beyond) < 0) != upward:
            return min(at, beyond), max(at, beyond)
        at, factor = beyond, min(factor**2, 1e4)
    raise ArithmeticError("the counts are too far apart to be added up")
