"""The share of items still good after some use, estimated without a model: Turnbull's estimate. Pure.

Tests bound each failure by an interval. The estimate of maximum likelihood puts all failures into the *innermost
intervals*: a lower end followed by an upper end with no other end between. Their shares are self-consistent: if each
item's failure is distributed over the innermost intervals within its bounds in proportion to their shares, the mean of
the result is those shares again (B. W. Turnbull, Journal of the Royal Statistical Society B 38, 1976;
B. Efron's self-consistency, 1967; both from memory).

Convention: a life is half-open. One that failed in (lower, upper] was good at `lower` and is bad at `upper`; where
both are equal it failed at that moment; one still good at `lower` fails in (lower, infinity). With exact failures and
survivors alone this is the estimate of Kaplan and Meier (1958). Programs that take intervals as closed give other
figures where one life's upper end is another's lower end. Within an innermost interval the data do not determine where
survival falls.

With lives (0, 2] and (1, 3] the innermost interval is (1, 2], and it holds both.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from service.wear.core.lives import Life, aggregated

if TYPE_CHECKING:
    from service.wear.core.likelihood import Floats

_ENOUGH: Final = 1e-9
"""The greatest distance of the log-likelihood per life from its maximum."""


@dataclass(frozen=True, slots=True)
class SurvivalStep:
    """The share of items that fails in (lower, upper], or at that moment if both are equal; `upper` is None if they
    were good at their last test.
    """

    lower: float
    upper: float | None
    share: float


@dataclass(frozen=True)
class Steps:
    """The estimate: its steps in order, with shares that sum to 1, and its log-likelihood."""

    steps: tuple[SurvivalStep, ...]
    log_likelihood: float

    def survival(self, time: float) -> tuple[float, float]:
        """The share still good after `time`, at least and at most: the two differ within a step."""
        over = math.fsum(step.share for step in self.steps if step.upper is not None and step.upper <= time)
        begun = math.fsum(step.share for step in self.steps if _begins_by(step, time))
        return max(0.0, 1 - begun), max(0.0, 1 - over)


def turnbull(lives: Iterable[Life]) -> Steps:
    """The nonparametric estimate of maximum likelihood; without lives it has no steps."""
    distinct = aggregated(lives)
    if not distinct:
        return Steps((), 0.0)
    import numpy as np

    bounds = innermost(distinct)
    within = np.array([[_holds(life, *bound) for bound in bounds] for life in distinct], dtype=float)
    counts = np.array([life.count for life in distinct], dtype=float)
    shares = _shares(within, counts)
    steps = (
        SurvivalStep(lower, None if upper == math.inf else upper, float(share))
        for (lower, upper), share in zip(bounds, shares, strict=True)
        if share > 0
    )
    return Steps(tuple(steps), float(counts @ np.log(within @ shares)))


def innermost(lives: Sequence[Life]) -> list[tuple[float, float]]:
    """The innermost intervals of lives as (lower, upper], in order; `upper` is infinite if there is no upper end."""
    ends: set[tuple[float, int, bool]] = set()
    for life in lives:  # at one moment, in order: an exact failure begins, failures end, what was good begins
        exact = life.lower == life.upper
        ends.add((life.lower, 0 if exact else 2, True))
        ends.add((math.inf if life.upper is None else life.upper, 1, False))
    in_order = sorted(ends)
    return [(begin[0], end[0]) for begin, end in pairwise(in_order) if begin[2] and not end[2]]


def _holds(life: Life, lower: float, upper: float) -> bool:
    """Whether an innermost interval lies within the bounds of a life."""
    if lower == upper and life.lower != life.upper:  # a moment lies within (l, u] only after l
        return life.lower < lower and (life.upper is None or upper <= life.upper)
    return life.lower <= lower and upper <= (math.inf if life.upper is None else life.upper)


def _begins_by(step: SurvivalStep, time: float) -> bool:
    return step.lower < time or step.lower == step.upper == time


def _shares(within: "Floats", counts: "Floats") -> "Floats":
    """The shares (steps,) of maximum likelihood; `within` (lives, steps) is 1 where a step lies within a life's bounds.

    Self-consistency steps (EM) never lower the likelihood but converge slowly; each is followed by a constrained Newton
    step, which keeps shares at 0 or above (Y. Wang, Computational Statistics and Data Analysis 52, 2008). It ends when
    no estimate can be better by more than `_ENOUGH` per life: by concavity the gain is at most the largest slope minus
    the number of lives.
    """
    import numpy as np

    total = counts.sum()
    shares: Floats = np.full(within.shape[1], 1 / within.shape[1])
    for _ in range(200):
        shares = shares * (within.T @ (counts / (within @ shares))) / total
        slopes = within.T @ (counts / (within @ shares))
        if slopes.max() - total <= _ENOUGH * total:
            break
        shares = _climbed(within, counts, shares)
    else:
        raise ArithmeticError("The climb to the nonparametric estimate did not settle.")
    kept: Floats = np.where(shares < 1e-10, 0.0, shares)
    kept /= kept.sum()
    return kept


def _climbed(within: "Floats", counts: "Floats", shares: "Floats") -> "Floats":
    """The constrained Newton step from `shares`, with a line search."""
    import numpy as np
    from scipy.optimize import nnls

    def height(at: "Floats") -> float:
        held = within @ at
        return float(counts @ np.log(held)) if held.min() > 0 else -math.inf

    ratios = np.sqrt(counts)[:, None] * within / (within @ shares)[:, None]
    sum_to_one = 1e3 * np.sqrt(counts.sum())
    q, r = np.linalg.qr(np.vstack([ratios, np.full(len(shares), sum_to_one)]))  # as few rows as steps
    aim, _ = nnls(r, q.T @ np.append(2 * np.sqrt(counts), sum_to_one))
    step = aim / aim.sum() - shares
    here, size = height(shares), 1.0
    while height(shares + size * step) < here:
        size /= 2
        if size < 1e-9:
            return shares
    climbed: Floats = np.maximum(shares + size * step, 0.0)
    return climbed
