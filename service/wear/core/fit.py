"""Fitting a Weibull model to lives of which tests only say between which two days they ended.

The log-likelihood is concave (see `likelihood`), so it has one maximum or none, and which of the two can be told
before climbing. There is none
- if one moment lies within the bounds of every failure, and no survivor is known to be good later: the steeper
  the model at that moment, the likelier it makes the lives, without end;
- if every failure is bounded by 0 and its first test, and these tests came on average (of log time) no later than
  the survivors' last ones: then failing has nothing to do with use, and the shape falls to 0.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from service.wear.core.lives import Life, aggregated
from service.wear.core.weibull import Weibull

if TYPE_CHECKING:
    from service.wear.core.likelihood import Floats, LogLikelihood


@dataclass(frozen=True, slots=True)
class NoModel:
    """The lives do not determine a model; `why` is a sentence."""

    why: str


def fit(lives: Iterable[Life]) -> Weibull | NoModel:
    """The Weibull model of maximum likelihood, or why there is none."""
    distinct = aggregated(lives)
    if why := _why_not(distinct):
        return NoModel(why)
    from service.wear.core.likelihood import LogLikelihood  # numpy would slow the start of every command

    likelihood = LogLikelihood(distinct)
    top = _climb(likelihood, likelihood.start())
    alpha, k = float(top[0]), float(top[1])
    shape = k / likelihood.spread
    log_scale = likelihood.center - alpha / shape
    if shape < 0.01 or abs(log_scale) > 250:  # as far as numbers carry the intervals between tests
        return NoModel("Failing depends so little on use that a shape and a scale cannot be told.")
    return Weibull(shape, math.exp(log_scale), likelihood.at(top).value)


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
        good_log = math.fsum(count * math.log(lower) for lower, count in good) / sum(
            count for _, count in good
        )
        if failed_log <= good_log:
            return "The items that failed were used no longer than those still good, so failing cannot be tied to use."
    return None


def _climb(likelihood: "LogLikelihood", point: "Floats") -> "Floats":
    """The maximum, by Newton's method; steps that would go down or leave k > 0 are halved."""
    import numpy as np

    here = likelihood.at(point)
    for _ in range(500):
        step = np.linalg.solve(-here.hessian, here.gradient)
        gain = float(here.gradient @ step) / (1 + abs(here.value))
        if gain < 1e-20:
            return point
        there = point + step
        # Close to the top a step's gain is lost in rounding, and full steps converge.
        while there[1] <= 0 or (gain > 1e-9 and likelihood.at(there).value <= here.value):
            step = step / 2
            there = point + step
        point, here = there, likelihood.at(there)
    raise ArithmeticError(f"The climb to the maximum likelihood did not settle; it stopped at {point}.")
