"""The expected number of failures within some days of use if every failure is repaired at once, as good as new. Pure.

An item that is not new fails first at its own age; from then on it counts as new.

The expected count M of a renewal process obeys M(t) = F(t) + the integral of M(t - s) dF(s) (D. R. Cox, "Renewal
Theory", 1962; from memory). It is solved in even steps by the midpoint rule on the Riemann-Stieltjes integral (M. Xie,
Communications in Statistics B 18, 1989; from memory), for all points of `grid` at once.
"""

from functools import lru_cache
from typing import Final

import numpy as np

from service.wear.core.grid import SIZE, Floats, fails_between

STEPS: Final = 160
"""Steps until the day: the count is right to 1 in 1,000 for up to sixteen failures by then."""


def failures(days: float) -> Floats:
    """The expected failures of an item as good as new within so many exposure days (shapes, scales)."""
    counts: Floats = _counts(days)[STEPS]
    return counts


def failures_from_age(passed: float, today: float, days: float) -> Floats:
    """The expected failures of an item within so many exposure days from its age `today` on (shapes, scales).

    It was good at the age `passed`. If it has failed since, that counts, and it is found and repaired today.
    """
    at = today + max(days, 0.0) * np.arange(STEPS + 1) / STEPS
    failed, later = fails_between(np.full(STEPS + 1, passed, float), at), _counts(days)[::-1]
    again = np.einsum("nks,nks->ks", np.diff(failed, axis=0), (later[1:] + later[:-1]) / 2)
    counts: Floats = failed[-1] + failed[0] * later[0] + again
    return counts


@lru_cache(maxsize=4)
def _counts(days: float) -> Floats:
    """The expected failures of an item as good as new by each of the even steps until `days` (steps + 1, shapes,
    scales).
    """
    if days <= 0:
        return np.zeros((STEPS + 1, *SIZE))
    at = days * np.arange(0.5, STEPS + 1, 0.5) / STEPS
    failed = fails_between(np.zeros(len(at)), at)
    middle, whole = failed[::2], failed[1::2]
    counts = np.zeros((STEPS + 1, *SIZE))
    for step in range(1, STEPS + 1):
        before = np.diff(counts[:step], axis=0)
        later = np.einsum("iks,iks->ks", middle[1:step][::-1], before) if step > 1 else 0.0
        counts[step] = (whole[step - 1] + later - middle[0] * counts[step - 1]) / (1 - middle[0])
    return counts
