"""The chance that each item of a program is bad at an event, every class as sure of itself as it knows. Pure.

The model. Items fail by Weibull models of their own. In logarithms the scale of a class is that of the wider one and
a normal step, the scale of an item that of its class and another, and the shape of a class that of the wider one and a
step of `SHAPE_PART` as much. An item keeps what is peculiar to it through its repairs, each of which makes it as good
as new. A class with few failures is so drawn towards the wider one, an item towards its class, each by as much as it
knows too little itself (partial pooling: B. Efron and C. Morris, Journal of the American Statistical Association 70,
1975; A. Gelman et al., "Bayesian Data Analysis", 2013, chapter 5; both from memory). A step on the log of a scale is a
frailty of the hazard, log-normal in place of gamma (J. W. Vaupel, K. G. Manton and E. Stallard, Demography 16, 1979;
from memory).

The priors are stated below. Of most programs the kinds of gear have shapes from 1 to 2.5 and scales from 250 to 900
exposure days; the middle is a little higher, for the mean rate of failing of items that differ is above that of their
middle one. Some programs are quite different as a whole, say because a day of season is a day of use only now and then,
and some kinds are within a program. A normal prior alone would overrule what those show (A. O'Hagan, Journal of the
Royal Statistical Society B 41, 1979, on tails that give way to what is seen; from memory). So one program in five has
its middle anywhere within `UNUSUAL_SCALES`, each factor as likely as the next, which is the prior for what has no known
unit (H. Jeffreys, "Theory of Probability", 1961, from memory). All kinds of a program share that middle, and the steps
to kinds, classes and items have wide alternatives too. Each is weighed by how likely it makes the lives of the whole
program, and so learned, by all kinds of gear together.

The answer is the mean over all of it, with no sampling: program, classes and items are a tree, and given both widths
what is known of a node is a table over a grid of shapes and scales (see `grid`). What the lives below say goes up from
the items to the program, what the others say comes down again, each step through the spread of that step (message
passing on a tree: J. Pearl, "Probabilistic Reasoning in Intelligent Systems", 1988, from memory). An item's chance to
fail between its last pass and the event is then the mean over the points of its own table.

What it does not know. Tests are taken to find all that is bad. Where they find 80 %, the chance to fail after the last
pass is told 6 to 12 % too low, and what was bad by then, and passed, does not count: of all that is bad on the day a
quarter (`tests.wear.event_day`). Far from the prior it errs, as any prior must: of gear with ten times the usual scale,
of which hardly any fails, it tells two to three times too much; of a third of the usual scale 5 % too little; near a
shape of 4 a seventh too little, most of it in the riskiest tenth.
The grid is right to one or two in a hundred of a chance on programs of 25 to 120 items; a program with hundreds of
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
from service.wear.core.renewal import failures

USUAL: Final = 1.63, 490.0
"""Shape and scale, in exposure days, of the middle of a usual program's gear."""
PROGRAM_SHAPES: Final = {0.2: 0.85, 0.6: 0.15}
"""How much a program's middle shape may differ from that (standard deviation of its log), and how likely that is."""
UNUSUAL: Final = 0.2
UNUSUAL_SCALES: Final = 80.0, 18_000.0
"""How likely the middle scale of a program is not the usual one, but any between these: from gear that hardly lasts a
season to such as hardly ever fails.
"""
GEAR_SHAPE: Final = 0.18
GEAR_WIDTHS: Final = {0.4: 0.9, 1.2: 0.1}
"""How much the widest classes, kinds of gear, may differ from their program's middle: the log of the shape, and that of
the scale with how likely that is. Of usual programs nine of ten shapes lie from 1.05 to 2.5 so, and most scales from
254 to 946 exposure days.
"""
LOG_SHAPE: Final = NormalDist(math.log(USUAL[0]), 0.27)
LOG_SCALE: Final = NormalDist(math.log(USUAL[1]), 0.4)
"""What that makes of a usual kind of gear in a usual program."""
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
    known = posterior(tuple((item.path, item.lives) for item in items))
    return known.fails_between([item.passed for item in items], [item.event for item in items])


@dataclass(frozen=True)
class Posterior:
    """How likely each point of the grid is for each item of a program, given all lives: once for all those whose class
    and lives are the same (different, shapes, scales), and `which` of these each item is (items,).
    """

    points: Floats
    which: NDArray[np.int_]

    def fails_between(self, passed: Sequence[float], until: Sequence[float]) -> list[float]:
        """The chance of each item to fail after the first age, at which it is good, and by the second."""
        asked = np.column_stack([self.which, np.array(passed, float), np.array(until, float)])
        asked, place = np.unique(asked, axis=0, return_inverse=True)
        spans, span = np.unique(asked[:, 1:], axis=0, return_inverse=True)
        fails, of, span = fails_between(spans[:, 0], spans[:, 1]), asked[:, 0].astype(int), span.ravel()
        chances = np.empty(len(asked))
        for begin in range(0, len(asked), _AT_ONCE):
            part = slice(begin, begin + _AT_ONCE)
            chances[part] = np.einsum("iks,iks->i", self.points[of[part]], fails[span[part]])
        found: list[float] = np.clip(chances, 0.0, 1.0)[place.ravel()].tolist()
        return found


_AT_ONCE: Final = 500
"""So many tables of points are held at once beside those that are kept."""


@lru_cache(maxsize=2)
def posterior(items: tuple[tuple[Path, tuple[Life, ...]], ...]) -> Posterior:
    """What is known of these items, of each its class and its lives; remembered, for only a test or repair changes it,
    and every day that is asked for takes it from here.
    """
    number: dict[tuple[Path, tuple[Life, ...]], int] = {}
    which = np.array([number.setdefault(item, len(number)) for item in items], int)
    counts = np.bincount(which, minlength=len(number))
    of_class: dict[Path, list[int]] = defaultdict(list)
    for (path, _), at in number.items():
        of_class[path].append(at)
    different = list(number)
    classes = {path: _Class.of([different[at][1] for at in own], counts[own]) for path, own in of_class.items()}
    known = _known({path: each.log_likelihood() for path, each in classes.items()})
    points = np.empty((len(different), *SIZE))
    for path, own in of_class.items():
        points[own] = classes[path].points(known[path])
    return Posterior(points, which)


KnownLives = tuple[Path, tuple[Life, ...]]
"""The class of an item and its lives."""


def renewed(
    items: Sequence[KnownLives], pieces: Sequence[KnownLives], days: Sequence[float]
) -> list[tuple[list[float], float]]:
    """What is to be expected of pieces that are as good as new from today on, by what all `items` show.

    For each the chance that it fails within each of these exposure days, and how often it fails within the last of
    them on average if every failure is repaired at once. A piece is one of `items`, or new and without lives.
    """
    there = set(items)
    everything = (*items, *(piece for piece in dict.fromkeys(pieces) if piece not in there))
    known = posterior(everything)
    number = {item: at for at, item in enumerate(everything)}
    points = known.points[[known.which[number[piece]] for piece in pieces]]
    fails = np.einsum("iks,dks->id", points, fails_between(np.zeros(len(days)), np.array(days, float)))
    counts = np.einsum("iks,ks->i", points, failures(days[-1]))
    return list(zip(np.clip(fails, 0.0, 1.0).tolist(), counts.tolist(), strict=True))


@dataclass(frozen=True)
class _Class:
    """The different lives that items of one class have, and how many have each (different,): how likely these are at a
    point of an item's own (different, shapes, scales), and, seen from the class, were that at a point, with each of
    `ITEM_WIDTHS` (different, shapes, widths, scales), both as a part of what their likeliest scale with that shape
    makes them. The logarithms of what is likeliest are summed over the items (shapes,).
    """

    counts: NDArray[np.int_]
    own: Floats
    likely: Floats
    log_most: Floats

    @classmethod
    def of(cls, lives: Sequence[tuple[Life, ...]], counts: NDArray[np.int_]) -> "_Class":
        logs = log_likelihoods(lives)
        most = logs.max(axis=2, keepdims=True)
        own = np.exp(logs - most)
        seen = (own.reshape(-1, SIZE[1]) @ _item_spreads()).reshape(len(own), SIZE[0], len(ITEM_WIDTHS), SIZE[1])
        return cls(counts, own, seen, counts @ most[:, :, 0])

    def log_likelihood(self) -> Floats:
        """Of all their lives together (widths, shapes, scales)."""
        together = np.zeros(self.likely.shape[1:])
        for count in np.unique(self.counts):
            equal = self.likely[self.counts == count]
            for begin in range(0, len(equal), _TOGETHER):
                together += count * np.log(equal[begin : begin + _TOGETHER].prod(axis=0))
        found: Floats = together.swapaxes(0, 1) + self.log_most[:, None]
        return found

    def points(self, known: Floats) -> Floats:
        """How likely each point is for an item with each of these lives (different, shapes, scales), by how likely
        widths and points are for the class (widths, shapes, scales).
        """
        from_class = (known.swapaxes(0, 1) / self.likely).reshape(-1, _item_spreads().shape[1])
        found: Floats = self.own * (from_class @ _item_spreads().T).reshape(self.own.shape)
        return found


_TOGETHER: Final = 16
"""So many parts, of which a spread makes the least 1e-12 or so, can be multiplied before a logarithm is taken."""


def _known(logs: Mapping[Path, Floats]) -> dict[Path, Floats]:
    """How likely widths of items and points are for each class, given what all lives say (see `log_likelihood`)."""
    tree = {path[:length] for path in logs for length in range(1, len(path) + 1)}
    up: dict[Path, Floats] = defaultdict(lambda: np.zeros((len(CLASS_WIDTHS), len(ITEM_WIDTHS), *SIZE)))
    said: dict[Path, Floats] = {}
    for path in sorted(tree, key=lambda path: (-len(path), path)):
        up[path] = up[path] + logs.get(path, 0.0)
        said[path] = _stepped(up[path], _spreads(path[:-1]))
        up[path[:-1]] = up[path[:-1]] + said[path]
    points: dict[Path, Floats] = {}
    points[()], log_sums = _made_sure(up[()] + _log_prior())
    for path in sorted(tree, key=lambda path: (len(path), path)):
        others = _stepped(points[path[:-1]] - said[path], _spreads(path[:-1]))
        points[path], _ = _made_sure(others + up[path])
    widths = log_sums + np.log(list(CLASS_WIDTHS.values()))[:, None] + np.log(list(ITEM_WIDTHS.values()))
    likely = np.exp(widths - widths.max())
    return {path: np.einsum("cw,cwks->wks", likely / likely.sum(), np.exp(points[path])) for path in logs}


_Spreads = tuple[Floats, Floats]
"""The spreads of a step with each of `CLASS_WIDTHS`, over shapes (widths, 1, shapes, shapes) and over scales (widths,
scales, scales); a spread is the same from either side.
"""


def _stepped(logs: Floats, spreads: _Spreads) -> Floats:
    """What is known of a class, in logarithms, seen from the next wider one, or the other way around."""
    over_shapes, over_scales = spreads
    most = logs.max(axis=(2, 3), keepdims=True)
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
    """How likely each point is for the middle of a program's gear, before anything is known (shapes, scales)."""
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
"""The logarithm of what is taken for impossible, so that it can be summed."""
