"""A grid of shapes and scales: the likelihood of lives at each of its points, and spreads over it. Pure.

`SHAPES` and `SCALES` are even in their logarithms. Arrays over the grid end in (shapes, scales), and hold logarithms
where their name says so. A spread is a transition matrix for a normal step in the logarithm with a given standard
deviation: diffusion for the time that gives that variance, with closed ends (the cosines are the modes of the second
difference). It is a normal distribution if the deviation is a step of the grid or more, and has the right variance if
it is less.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from service.wear.core.lives import Life

Floats = NDArray[np.float64]

SHAPE_STEP: Final = 0.2
SCALE_STEP: Final = 0.1
"""In logarithms."""
LOG_SHAPES: Final[Floats] = math.log(1.63) + SHAPE_STEP * np.arange(-5.0, 6.0)
"""From 0.6 to 4.4."""
LOG_SCALES: Final[Floats] = math.log(490) + SCALE_STEP * np.arange(-36.0, 48.0)
"""From 13 to 54,000 exposure days."""
SIZE: Final = (len(LOG_SHAPES), len(LOG_SCALES))
SHAPES: Final[Floats] = np.exp(LOG_SHAPES)
_MOST: Final = 200.0
"""Logarithms of hazards are capped here: no item survives more."""
_LEAST: Final = -1e290
"""Logarithms of likelihoods are capped here, so that they can be added."""
_FLOOR: Final = 1e-12
"""The least entry of a spread: rounding rules no point out."""


def spread(deviations: Mapping[float, float], step: float, size: int) -> Floats:
    """The matrix (size, size) of a spread along an axis with steps of this width.

    `deviations` are standard deviations with the probability of each. The matrix is symmetric but for rounding, and
    each row sums to 1.
    """
    at = np.arange(size)
    modes = np.cos(np.pi * at[:, None] * (at + 0.5) / size) * np.sqrt(2 / size)
    modes[0] = np.sqrt(1 / size)
    kept = sum(
        part * np.exp((deviation / step) ** 2 * (np.cos(np.pi * at / size) - 1))
        for deviation, part in deviations.items()
    )
    carried: Floats = np.maximum((modes.T * kept) @ modes, _FLOOR)
    carried /= carried.sum(axis=1, keepdims=True)
    return carried


def fails_between(good: Floats, until: Floats) -> Floats:
    """The chance to fail after `good` (items,) and not after `until`, at each point (items, shapes, scales)."""
    chance: Floats = -np.expm1(-_more_hazard(good, until))
    return chance


def log_likelihoods(lives: Sequence[Sequence[Life]]) -> Floats:
    """The log-likelihood of each item's lives at each point (items, shapes, scales)."""
    place: dict[tuple[float, float | None], int] = {}
    entries = [
        (item, place.setdefault((life.lower, life.upper), len(place)), float(life.count))
        for item, own in enumerate(lives)
        for life in own
    ]
    if not entries:
        return np.zeros((len(lives), *SIZE))
    items, kinds, counts = (np.array(column) for column in zip(*entries, strict=True))
    each = _of_lives(tuple(place))[kinds] * counts[:, None, None]
    with_lives, starts = np.unique(items, return_index=True)
    logs = np.zeros((len(lives), *SIZE))
    logs[with_lives] = np.maximum(np.add.reduceat(each, starts), _LEAST)
    return logs


def _of_lives(lives: tuple[tuple[float, float | None], ...]) -> Floats:
    """The log-likelihood of a life with each of these bounds (lives, shapes, scales), a density if exact."""
    lower = np.array([lower for lower, _ in lives], float)
    upper = np.array([np.inf if upper is None else upper for _, upper in lives], float)
    logs = -np.exp(_log_hazard(lower))
    exact = lower == upper
    logs[exact] += LOG_SHAPES[:, None] + _log_hazard(lower[exact]) - np.log(lower[exact])[:, None, None]
    within = (lower < upper) & (upper < np.inf)
    failed = fails_between(lower[within], upper[within])
    logs[within] += np.log(np.maximum(failed, 1e-300))
    return logs


def _log_hazard(times: Floats) -> Floats:
    """The log of the cumulative hazard at `times` (times,), at each point (times, shapes, scales)."""
    with np.errstate(divide="ignore"):
        logs = SHAPES[:, None] * (np.log(times)[:, None, None] - LOG_SCALES)
    hazard: Floats = np.minimum(logs, _MOST)
    return hazard


def _more_hazard(good: Floats, until: Floats) -> Floats:
    """The cumulative hazard between two ages, without cancellation where they are close."""
    apart = np.divide(good - until, until, out=np.zeros_like(good), where=until > 0)
    with np.errstate(divide="ignore"):
        ratio = np.log1p(apart)
    more: Floats = np.exp(_log_hazard(until)) * -np.expm1(ratio[:, None, None] * SHAPES[:, None])
    return more
