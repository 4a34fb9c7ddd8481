"""The chance that each item of a program is bad at an event, every class as sure of itself as it knows. Pure.

The model. Items fail by Weibull models of their own. In logarithms the scale of a class is that of the wider one and
a normal step, the scale of an item that of its class and another, and the shape of a class that of the wider one and a
step of `SHAPE_PART` as much. An item keeps what is peculiar to it through its repairs, each of which makes it as good
as new; tests find all that is bad. A class with few failures is so drawn towards the wider one, an item towards its
class, each by as much as it knows too little itself (partial pooling: B. Efron and C. Morris, Journal of the American
Statistical Association 70, 1975; A. Gelman et al., "Bayesian Data Analysis", 2013, chapter 5; both from memory).
A step on the log of a scale is a frailty of the hazard, log-normal in place of gamma (J. W. Vaupel, K. G. Manton and
E. Stallard, Demography 16, 1979; from memory).

The priors are stated below. Of the widest class: shapes mostly from 1 to 2.5, scales mostly from 250 to 900 exposure
days; the scale's middle is a little higher, for the mean rate of failing of items that differ is above that of their
middle one. How much classes and items differ is unknown as well: every width below is weighed by how likely it makes
the lives of the whole program, and so learned, by all kinds of gear together.

The answer is the mean over all of it, with no sampling: classes and items are a tree, and given both widths what is
known of a node is a table over a grid of shapes and scales (see `grid`). What the lives below say goes up from the
items to the widest class, what the others say comes down again, each step through the spread of that step (message
passing on a tree: J. Pearl, "Probabilistic Reasoning in Intelligent Systems", 1988, from memory). An item's chance to
fail between its last pass and the event is then the mean over the points of its own table.

On programs of 25 to 120 items the grid is right to one or two in a hundred of a chance; a program with hundreds of
failures in one class would tell its shape finer than the steps.
"""

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import Final

import numpy as np

from service.wear.core.classes import Path
from service.wear.core.grid import (
    LOG_SCALES,
    LOG_SHAPES,
    SCALE_STEP,
    SHAPE_STEP,
    SIZE,
    Floats,
    fails_between,
    log_likelihoods,
    spread,
)
from service.wear.core.lives import Life

LOG_SHAPE: Final = NormalDist(math.log(1.63), 0.27)
LOG_SCALE: Final = NormalDist(math.log(490), 0.4)
"""The widest class, before anything is known of it: nine of ten shapes lie from 1.05 to 2.5, and of ten scales from 254
to 946 exposure days.
"""
CLASS_WIDTHS: Final = {0.06: 0.2, 0.15: 0.32, 0.3: 0.28, 0.5: 0.14, 0.8: 0.06}
"""How much classes may differ from the next wider one (standard deviation of the log of the scale), and how likely each
is before anything is known (common practice, no source).
"""
ITEM_WIDTHS: Final = {0.06: 0.2, 0.2: 0.32, 0.4: 0.28, 0.65: 0.14, 1.0: 0.06}
"""The same for the items of a class."""
SHAPE_PART: Final = 0.25
"""How much the log of the shape differs from class to class, against that of the scale."""


@dataclass(frozen=True, slots=True)
class PooledItem:
    """An item: its class from wide to narrow, its lives with the running one last, and its ages, in exposure days, at
    its last pass and at the event, which is no earlier.
    """

    path: Path
    lives: tuple[Life, ...]
    passed: float
    event: float


def bad_at_event(items: Sequence[PooledItem]) -> list[float]:
    """For each item of a program the chance, in [0, 1], that it fails between its last pass and the event."""
    return bad_at(items, [[item.event for item in items]])[0]


def bad_at(items: Sequence[PooledItem], ages: Sequence[Sequence[float]]) -> list[list[float]]:
    """The same for rows of ages, one for each item, none before its last pass: a row of chances for each of them."""
    of_class: dict[Path, list[int]] = defaultdict(list)
    for number, item in enumerate(items):
        of_class[item.path].append(number)
    classes = {path: _Class.of([items[number] for number in numbers]) for path, numbers in of_class.items()}
    known = _known({path: each.log_likelihood() for path, each in classes.items()})
    found = [[0.0] * len(items) for _ in ages]
    for path, numbers in of_class.items():
        for row, chances in zip(ages, found, strict=True):
            told = classes[path].chances(known[path], np.array([row[number] for number in numbers], float))
            for number, chance in zip(numbers, told.tolist(), strict=True):
                chances[number] = chance
    return found


@dataclass(frozen=True)
class _Class:
    """The items of one class: how likely the lives of each are at a point of its own (items, shapes, scales), and, seen
    from the class, were that at a point, with each of `ITEM_WIDTHS` (items, shapes, widths, scales), both as a part of
    what its likeliest scale with that shape makes them, whose logarithms are summed over the items (shapes,). `passed`
    (items,) are the ages at the last pass.
    """

    own: Floats
    likely: Floats
    log_most: Floats
    passed: Floats

    @classmethod
    def of(cls, items: Sequence[PooledItem]) -> "_Class":
        logs = log_likelihoods([item.lives for item in items])
        most = logs.max(axis=2, keepdims=True)
        own = np.exp(logs - most)
        passed = np.array([item.passed for item in items], float)
        return cls(own, _seen_from_class(own), most.sum(axis=(0, 2)), passed)

    def log_likelihood(self) -> Floats:
        """Of all their lives together (widths, shapes, scales)."""
        at_once = np.multiply.reduceat(self.likely, range(0, len(self.likely), _TOGETHER), axis=0)
        found: Floats = np.log(at_once).sum(axis=0).swapaxes(0, 1) + self.log_most[:, None]
        return found

    def chances(self, known: Floats, until: Floats) -> Floats:
        """The chance of each to fail after its last pass and by these ages (items,), by how likely widths and points
        are for the class (widths, shapes, scales).
        """
        fails = _seen_from_class(self.own * fails_between(self.passed, until))
        parts = (fails / self.likely).reshape(len(self.likely), -1)
        found: Floats = np.clip(parts @ known.swapaxes(0, 1).ravel(), 0.0, 1.0)
        return found


_TOGETHER: Final = 16
"""So many parts, of which a spread makes the least 1e-12 or so, can be multiplied before a logarithm is taken."""


def _seen_from_class(items: Floats) -> Floats:
    """What depends on an item's point (items, shapes, scales), as the mean over items of a class at a point, with each
    of `ITEM_WIDTHS` (items, shapes, widths, scales).
    """
    seen: Floats = items.reshape(-1, SIZE[1]) @ _item_spreads()
    return seen.reshape(len(items), SIZE[0], len(ITEM_WIDTHS), SIZE[1])


def _known(logs: Mapping[Path, Floats]) -> dict[Path, Floats]:
    """How likely widths of items and points are for each class, given what all lives say (see `log_likelihood`)."""
    tree = {path[:length] for path in logs for length in range(1, len(path) + 1)}
    up: dict[Path, Floats] = defaultdict(lambda: np.zeros((len(CLASS_WIDTHS), len(ITEM_WIDTHS), *SIZE)))
    said: dict[Path, Floats] = {}
    for path in sorted(tree, key=lambda path: (-len(path), path)):
        up[path] = up[path] + logs.get(path, 0.0)
        if len(path) > 1:
            said[path] = _stepped(up[path])
            up[path[:-1]] = up[path[:-1]] + said[path]
    points: dict[Path, Floats] = {}
    widths = np.log(list(CLASS_WIDTHS.values()))[:, None] + np.log(list(ITEM_WIDTHS.values()))
    for path in sorted(tree, key=lambda path: (len(path), path)):
        others = _stepped(points[path[:-1]] - said[path]) if len(path) > 1 else _log_prior()
        points[path], log_sum = _made_sure(others + up[path])
        if len(path) == 1:
            widths = widths + log_sum
    likely = np.exp(widths - widths.max())
    return {path: np.einsum("cw,cwks->wks", likely / likely.sum(), np.exp(points[path])) for path in logs}


def _stepped(logs: Floats) -> Floats:
    """What is known of a class, in logarithms, seen from the next wider one, or the other way around."""
    most = logs.max(axis=(2, 3), keepdims=True)
    over_shapes, over_scales = _class_spreads()
    scaled = np.exp(logs - most).reshape(len(logs), -1, SIZE[1]) @ over_scales
    stepped: Floats = np.log(over_shapes @ scaled.reshape(logs.shape)) + most
    return stepped


def _made_sure(logs: Floats) -> tuple[Floats, Floats]:
    """Logarithms over points, made to sum to 1 with each pair of widths, and the logarithm of what they summed to."""
    most = logs.max(axis=(2, 3), keepdims=True)
    sums = np.log(np.exp(logs - most).sum(axis=(2, 3), keepdims=True)) + most
    return logs - sums, sums[:, :, 0, 0]


@lru_cache(maxsize=1)
def _item_spreads() -> Floats:
    """The spreads of `ITEM_WIDTHS` side by side (scales, widths * scales)."""
    return np.hstack([spread(width, SCALE_STEP, SIZE[1]) for width in ITEM_WIDTHS])


@lru_cache(maxsize=1)
def _class_spreads() -> tuple[Floats, Floats]:
    """The spreads of `CLASS_WIDTHS` over shapes (widths, 1, shapes, shapes) and scales (widths, scales, scales)."""
    over_shapes = [spread(SHAPE_PART * width, SHAPE_STEP, SIZE[0]) for width in CLASS_WIDTHS]
    over_scales = [spread(width, SCALE_STEP, SIZE[1]) for width in CLASS_WIDTHS]
    return np.stack(over_shapes)[:, None], np.stack(over_scales)


@lru_cache(maxsize=1)
def _log_prior() -> Floats:
    """How likely each point is for the widest class, before anything is known (shapes, scales)."""
    shapes, scales = (
        -0.5 * ((logs - prior.mean) / prior.stdev) ** 2
        for logs, prior in ((LOG_SHAPES, LOG_SHAPE), (LOG_SCALES, LOG_SCALE))
    )
    logs = shapes[:, None] + scales
    prior: Floats = logs - np.log(np.exp(logs).sum())
    return prior
