"""The chance that each item of a program is bad at an event, by a hierarchical model of all its gear. Pure.

The model. Each item has a Weibull model of its own. In logarithms, the scale of a class is that of the wider class plus
a normal step, the scale of an item that of its class plus another, and the shape of a class that of the wider class
plus a step `SHAPE_PART` times as wide. An item keeps its own scale through repairs, each of which makes it as good as
new. So a class with few failures is shrunk towards the wider class, and an item towards its class, the more the fewer
data it has (partial pooling: B. Efron and C. Morris, Journal of the American Statistical Association 70,
1975; A. Gelman et al., "Bayesian Data Analysis", 2013, chapter 5; both from memory). A step on the log of a scale is a
frailty of the hazard, log-normal in place of gamma (J. W. Vaupel, K. G. Manton and E. Stallard, Demography 16, 1979;
from memory).

The priors are the constants below. In most programs the kinds of gear have shapes from 1 to 2.5 and scales from 250 to
900 exposure days; the median is set a little higher, because the mean failure rate of items that differ is above the
rate of the median item. Some programs differ as a whole, for example because gear is used only on a few days of the
season, and some kinds differ within a program. A normal prior alone would overrule their data (A. O'Hagan, Journal of
the Royal Statistical Society B 41, 1979, on heavy tails; from memory). So with probability `UNUSUAL` a program's median
scale is log-uniform over `UNUSUAL_SCALES`, the prior for a quantity with no known unit (H. Jeffreys, "Theory of
Probability", 1961, from memory). All kinds of a program share that median, and the steps to kinds, classes and items
have wide alternatives too. Each alternative is weighted by the likelihood of the lives of the whole program, so all
kinds of gear contribute to it.

The answer is the posterior mean, computed without sampling: program, classes and items form a tree, and given both
widths the posterior of a node is a table over a grid of shapes and scales (see `grid`). Messages go up from the items
to the program and down again, and each step is a convolution with the spread of that step (belief propagation on a
tree: J. Pearl, "Probabilistic Reasoning in Intelligent Systems", 1988, from memory). An item's chance to fail between
its last pass and the event is then the mean over its own table.

Limits. Tests are assumed to find every fault. If they find 80 %, the chance to fail after the last pass is 6 to 12 %
too low, and items that were bad and passed are not counted: a quarter of all that are bad on the day
(`tests.wear.event_day`). Far from the prior there is a bias: for gear with ten times the usual scale, which hardly
fails, chances are two to three times too high; for a third of the usual scale 5 % too low; near a shape of 4 a seventh
too low, most of it in the riskiest tenth of the items.
The error of the grid is 1 to 2 % of a chance for programs of 25 to 120 items; hundreds of failures in one class would
determine the shape more finely than the grid's steps.
"""

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

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
from service.wear.core.renewal import failures, failures_from_age

USUAL: Final = 1.63, 490.0
"""The median shape and scale, in exposure days, of a usual program's gear."""
PROGRAM_SHAPES: Final = {0.2: 0.85, 0.6: 0.15}
"""The standard deviation of the log of a program's median shape about that, with the prior probability of each."""
UNUSUAL: Final = 0.2
UNUSUAL_SCALES: Final = 80.0, 18_000.0
"""The prior probability that a program's median scale is not the usual one but anything between these, in exposure
days: from gear that hardly lasts a season to gear that hardly ever fails.
"""
GEAR_SHAPE: Final = 0.18
GEAR_WIDTHS: Final = {0.4: 0.9, 1.2: 0.1}
"""Standard deviations of kinds of gear, the widest classes, about their program's median: of the log of the shape, and
of the log of the scale with the prior probability of each. In usual programs nine of ten shapes then lie from 1.05 to
2.5, and most scales from 254 to 946 exposure days.
"""
LOG_SHAPE: Final = NormalDist(math.log(USUAL[0]), 0.27)
LOG_SCALE: Final = NormalDist(math.log(USUAL[1]), 0.4)
"""The resulting prior of a usual kind of gear in a usual program."""
CLASS_WIDTHS: Final = {0.06: 0.2, 0.15: 0.32, 0.3: 0.28, 0.5: 0.14, 0.8: 0.06}
"""Standard deviations of the log of a class's scale about that of the next wider class, with the prior probability of
each (common practice, no source).
"""
ITEM_WIDTHS: Final = {0.06: 0.2, 0.2: 0.32, 0.4: 0.28, 0.65: 0.14, 1.0: 0.06}
"""The same for the items of a class."""
SHAPE_PART: Final = 0.25
"""The standard deviation of the log of the shape from class to class, as a fraction of that of the scale."""


@dataclass(frozen=True, slots=True)
class PooledItem:
    """An item: its class from wide to narrow, its lives with the current one last, and its ages, in exposure days, at
    its last pass and at the event, which is no earlier.
    """

    path: Path
    lives: tuple[Life, ...]
    passed: float
    event: float


def bad_at_event(items: Sequence[PooledItem]) -> list[float]:
    """For each item of a program the chance, in [0, 1], that it fails between its last pass and the event."""
    known = posterior(tuple((item.path, item.lives) for item in items))
    return known.fails_between([item.passed for item in items], [item.event for item in items])


@dataclass(frozen=True)
class Posterior:
    """The posterior of each item over the grid, given all lives of the program.

    `points` has one table for each distinct pair of class and lives (different, shapes, scales), and `which` is the
    number of each item's table (items,).
    """

    points: Floats
    which: NDArray[np.int_]

    def fails_between(self, passed: Sequence[float], until: Sequence[float]) -> list[float]:
        """The chance of each item to fail after the first age, at which it is good, and by the second."""
        rows = np.column_stack([self.which, np.array(passed, float), np.array(until, float)])
        rows, place = np.unique(rows, axis=0, return_inverse=True)
        spans, span = np.unique(rows[:, 1:], axis=0, return_inverse=True)
        fails, of, span = fails_between(spans[:, 0], spans[:, 1]), rows[:, 0].astype(int), span.ravel()
        chances = np.empty(len(rows))
        for begin in range(0, len(rows), _AT_ONCE):
            part = slice(begin, begin + _AT_ONCE)
            chances[part] = np.einsum("iks,iks->i", self.points[of[part]], fails[span[part]])
        of_items: list[float] = np.clip(chances, 0.0, 1.0)[place.ravel()].tolist()
        return of_items


_AT_ONCE: Final = 500
"""Tables that are multiplied at once, to bound the memory."""


@lru_cache(maxsize=2)
def posterior(items: tuple[tuple[Path, tuple[Life, ...]], ...]) -> Posterior:
    """The posterior of these items, each given by its class and its lives.

    It is cached: only a test or a repair changes it, and the chances for every day are computed from it.
    """
    number: dict[tuple[Path, tuple[Life, ...]], int] = {}
    which = np.array([number.setdefault(item, len(number)) for item in items], int)
    counts = np.bincount(which, minlength=len(number))
    of_class: dict[Path, list[int]] = defaultdict(list)
    for (path, _), at in number.items():
        of_class[path].append(at)
    different = list(number)
    classes = {path: ClassLives.of([different[at][1] for at in own], counts[own]) for path, own in of_class.items()}
    known = class_tables({path: each.log_likelihood() for path, each in classes.items()}).known
    points = np.empty((len(different), *SIZE))
    for path, own in of_class.items():
        points[own] = classes[path].points(known[path])
    return Posterior(points, which)


KnownLives = tuple[Path, tuple[Life, ...]]
"""The class of an item and its lives."""


def expected_failures(points: Floats, days: Sequence[float]) -> list[tuple[list[float], float]]:
    """The expected failures of pieces that are as good as new from today on, from their posteriors (pieces, shapes,
    scales).

    For each piece: the chance that it fails within each of these numbers of exposure `days`, and the mean number of
    failures within the last of them if every failure is repaired at once.
    """
    fails = np.einsum("iks,dks->id", points, fails_between(np.zeros(len(days)), np.array(days, float)))
    counts = np.einsum("iks,ks->i", points, failures(days[-1]))
    return list(zip(np.clip(fails, 0.0, 1.0).tolist(), counts.tolist(), strict=True))


def expected_as_it_is(points: Floats, passed: float, today: float, days: float) -> tuple[float, float]:
    """The expected failures of an item that is left as it is, from its posterior (shapes, scales).

    It was good at the age `passed`, in exposure days, and is `today` old. The chance that it fails until so many `days`
    from now, and the mean number of failures by then if every failure is repaired at once.
    """
    fails = fails_between(np.array([passed], float), np.array([today + days], float))[0]
    counts = failures_from_age(passed, today, days)
    return float(np.clip((points * fails).sum(), 0.0, 1.0)), float((points * counts).sum())


@dataclass(frozen=True)
class ClassLives:
    """The likelihoods of the distinct lives of the items of one class.

    `counts` is how many items have each (different,); `own` the likelihood at each point of the item's grid (different,
    shapes, scales); `likely` the likelihood at each point of the class's grid with each of `ITEM_WIDTHS` (different,
    shapes, widths, scales). Both are divided by the greatest likelihood with that shape, and `log_most` is the sum of
    the logarithms of those divisors over the items (shapes,).
    """

    counts: NDArray[np.int_]
    own: Floats
    likely: Floats
    log_most: Floats

    @classmethod
    def of(cls, lives: Sequence[tuple[Life, ...]], counts: NDArray[np.int_]) -> "ClassLives":
        logs = log_likelihoods(lives)
        most = logs.max(axis=2, keepdims=True)
        own = np.exp(logs - most)
        seen = (own.reshape(-1, SIZE[1]) @ item_spreads()).reshape(len(own), SIZE[0], len(ITEM_WIDTHS), SIZE[1])
        return cls(counts, own, seen, counts @ most[:, :, 0])

    def log_likelihood(self) -> Floats:
        """The log-likelihood of all their lives (widths, shapes, scales)."""
        summed = np.zeros(self.likely.shape[1:])
        for count in np.unique(self.counts):
            equal = self.likely[self.counts == count]
            for begin in range(0, len(equal), _FACTORS):
                summed += count * np.log(equal[begin : begin + _FACTORS].prod(axis=0))
        log_likelihood: Floats = summed.swapaxes(0, 1) + self.log_most[:, None]
        return log_likelihood

    def points(self, known: Floats) -> Floats:
        """The posterior of an item with each of these lives (different, shapes, scales), from `known`, the posterior of
        the class (widths, shapes, scales).
        """
        from_class = (known.swapaxes(0, 1) / self.likely).reshape(-1, item_spreads().shape[1])
        points: Floats = self.own * (from_class @ item_spreads().T).reshape(self.own.shape)
        return points


_FACTORS: Final = 16
"""Factors that can be multiplied without underflow before the logarithm is taken: the least is about 1e-12."""


@dataclass(frozen=True)
class ClassTables:
    """The posteriors of item widths and points (widths, shapes, scales), given all lives.

    `known` has that of each class, the wider ones included. `within` has that of a class without any lives, by the next
    wider class: () is the whole program.
    """

    known: Mapping[Path, Floats]
    within: Mapping[Path, Floats]


def class_tables(logs: Mapping[Path, Floats]) -> ClassTables:
    """The posterior of every class. `logs` is the log-likelihood of the lives of each class that has items
    (`ClassLives.log_likelihood`).
    """
    tree = {path[:length] for path in logs for length in range(1, len(path) + 1)}
    up: dict[Path, Floats] = defaultdict(lambda: np.zeros((len(CLASS_WIDTHS), len(ITEM_WIDTHS), *SIZE)))
    messages: dict[Path, Floats] = {}
    for path in sorted(tree, key=lambda path: (-len(path), path)):
        up[path] = up[path] + logs.get(path, 0.0)
        messages[path] = _stepped(up[path], _spreads(path[:-1]))
        up[path[:-1]] = up[path[:-1]] + messages[path]
    points: dict[Path, Floats] = {}
    points[()], log_sums = _normalized(up[()] + _log_prior())
    for path in sorted(tree, key=lambda path: (len(path), path)):
        others = _stepped(points[path[:-1]] - messages[path], _spreads(path[:-1]))
        points[path], _ = _normalized(others + up[path])
    widths = log_sums + np.log(list(CLASS_WIDTHS.values()))[:, None] + np.log(list(ITEM_WIDTHS.values()))
    weights = np.exp(widths - widths.max())
    weights /= weights.sum()

    def averaged(logs: Floats) -> Floats:
        table: Floats = np.einsum("cw,cwks->wks", weights, np.exp(logs))
        return table

    within = {path: averaged(_normalized(_stepped(logs, _spreads(path)))[0]) for path, logs in points.items()}
    return ClassTables({path: averaged(points[path]) for path in tree}, within)


_Spreads = tuple[Floats, Floats]
"""The spreads of a step with each of `CLASS_WIDTHS`, over shapes (widths, 1, shapes, shapes) and over scales (widths,
scales, scales); a spread is the same from either side.
"""


def _stepped(logs: Floats, spreads: _Spreads) -> Floats:
    """The message from a class to the next wider one, or the other way round, in logarithms."""
    over_shapes, over_scales = spreads
    most = logs.max(axis=(2, 3), keepdims=True)
    scaled = np.exp(logs - most).reshape(len(logs), -1, SIZE[1]) @ over_scales
    stepped: Floats = np.log(over_shapes @ scaled.reshape(logs.shape)) + most
    return stepped


def _normalized(logs: Floats) -> tuple[Floats, Floats]:
    """The logarithms normalized over the points for each pair of widths, and the logarithms of the sums before."""
    most = logs.max(axis=(2, 3), keepdims=True)
    sums = np.log(np.exp(logs - most).sum(axis=(2, 3), keepdims=True)) + most
    return logs - sums, sums[:, :, 0, 0]


@lru_cache(maxsize=1)
def item_spreads() -> Floats:
    """The spreads of `ITEM_WIDTHS` side by side (scales, widths * scales)."""
    return np.hstack([spread({width: 1.0}, SCALE_STEP, SIZE[1]) for width in ITEM_WIDTHS])


def _spreads(of: Path) -> _Spreads:
    """The spreads of the step from this class, () for the whole program, to those that are one narrower."""
    return _class_spreads() if of else _gear_spreads()


@lru_cache(maxsize=1)
def _class_spreads() -> _Spreads:
    over_shapes = [spread({SHAPE_PART * width: 1.0}, SHAPE_STEP, SIZE[0]) for width in CLASS_WIDTHS]
    over_scales = [spread({width: 1.0}, SCALE_STEP, SIZE[1]) for width in CLASS_WIDTHS]
    return np.stack(over_shapes)[:, None], np.stack(over_scales)


@lru_cache(maxsize=1)
def _gear_spreads() -> _Spreads:
    over_shapes, over_scales = spread({GEAR_SHAPE: 1.0}, SHAPE_STEP, SIZE[0]), spread(GEAR_WIDTHS, SCALE_STEP, SIZE[1])
    return over_shapes[None, None], over_scales[None]


@lru_cache(maxsize=1)
def _log_prior() -> Floats:
    """The log of the prior of the median of a program's gear (shapes, scales)."""
    shape, scale = (
        int(np.abs(logs - math.log(usual)).argmin())
        for logs, usual in zip((LOG_SHAPES, LOG_SCALES), USUAL, strict=True)
    )
    least, most = np.log(UNUSUAL_SCALES)
    unusual = (least <= LOG_SCALES) & (most >= LOG_SCALES)
    scales = UNUSUAL * unusual / unusual.sum()
    scales[scale] += 1 - UNUSUAL
    with np.errstate(divide="ignore"):
        prior: Floats = np.log(spread(PROGRAM_SHAPES, SHAPE_STEP, SIZE[0])[shape])[:, None] + np.log(scales)
    return np.maximum(prior, _NEVER)


_NEVER: Final = -1e4
"""Stands for the logarithm of 0, so that it can be added."""
