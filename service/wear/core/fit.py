"""Fitting a Weibull model by maximum likelihood to interval-censored lives.

The log-likelihood is concave (see `likelihood`), so it has one maximum or none, and which of the two is known before
the search. There is none
- if one moment lies within the bounds of every failure, and no survivor is known to be good later: the likelihood
  grows without end as the model gets steeper at that moment;
- if every failure lies between 0 and its first test, and these tests came on average (of log time) no later than
  the survivors' last ones: then failing does not depend on use, and the shape falls to 0.

The search goes along the ridge, the best alpha for each k: the likelihood rises along it up to the maximum and falls
beyond it, so the maximum can be bracketed. Newton steps in both variables at once fail where lives are counted
a million to one, or differ only in their last digits: there the slopes overflow, or vanish.
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
"""The least shape that is searched. With flatter ones the scale or the mean life overflows."""
_STEEPEST: Final = 1e-120
"""The least 1/k that is searched: beyond it no likelihood falls, unless rounding lost some of its counts."""


@dataclass(frozen=True, slots=True)
class NoModel:
    """The lives do not determine a model; `why` is a sentence."""

    why: str


def fit(lives: Iterable[Life]) -> Weibull | NoModel:
    """The Weibull model of maximum likelihood, or why there is none.

    Raises:
        ArithmeticError: rounding lost the smaller counts, as with 10^16 and more to one.
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
    """Whether the scale, and every interval between tests that may be computed from it, fits a float.

    An interval is at most the mean life, scale times Gamma(1 + 1/shape), over the least availability, 2^-53.
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
    """The k of the maximum; None if it is below the least shape that is searched.

    It is bracketed in 1/k, in which the slope is a straight line for exact failures, and nearly one for others.
    """
    import numpy as np
    from scipy.optimize import brentq

    def slope(flatness: float) -> float:
        k = 1 / flatness
        point = np.array([likelihood.ridge(k), k])
        first = likelihood.at(point)
        here = likelihood.at(point, first.hessian[0, 1] / first.hessian[0, 0])  # about where the lives weigh most
        aside = here.gradient[0] / here.hessian[0, 0]  # the distance to the ridge that rounding left
        return float(here.gradient[1] - here.hessian[0, 1] * aside)

    flattest = 1 / (_FLATTEST * likelihood.spread)
    if enclosed := _enclosed(slope, min(1.0, flattest), flattest):
        return 1 / float(brentq(slope, *enclosed, xtol=1e-300, rtol=1e-13, maxiter=1000))
    return None


def _enclosed(slope: Callable[[float], float], start: float, most: float) -> tuple[float, float] | None:
    """A bracket of the zero of the increasing function `slope`; None if there is none below `most`.

    Raises:
        ArithmeticError: it is above 0 even at the least number that is searched.
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
