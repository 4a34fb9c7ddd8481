"""Programs of many small classes whose wear is known, as `coilbook risk` is told of them, each item with the chance
that it truly has to fail between its last pass and the event.

A program draws shape and scale of each kind of gear, evenly from 1 to 2.5 and (in logarithms) from 250 to 900 exposure
days, how much its narrow classes differ from the wider ones, and of each item how much worse than its class it is, from
a gamma distribution, which no repair changes. It tests twice a season, and repairs at once what it finds bad.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from random import Random

import numpy as np

from service.wear.core.classes import Path
from service.wear.core.lives import Life
from service.wear.core.pooling import PooledItem

SEASON = 90
"""Exposure days."""


Model = tuple[float, float]
"""Shape, and scale in exposure days."""


@dataclass(frozen=True)
class Kind:
    """What programs are like: how much the log of the scale differs from class to wider class (standard deviation),
    the variance of how much worse than its class an item is, how long scales are against those of the module's first
    words, what part of all that is bad a test finds, and how probably a class is a bad lot, which lasts a third.
    """

    classes: float = 0.35
    items: float = 0.3
    longer: float = 1.0
    found: float = 1.0
    bad_lots: float = 0.0
    one_class: bool = False
    seasons: int = 3
    ahead: tuple[int, ...] = (0, 10, 30, 60)


def programs(kind: Kind, count: int, seed: int = 1) -> Iterator[tuple[list[PooledItem], list[float]]]:
    """So many programs, each with its items and their true chances."""
    for number in range(count):
        random = Random(f"{seed}-{number}")
        models: dict[Path, Model] = {}
        paths = paths_of(kind, random)
        drawn = [_item(random, kind, random.choice(paths), models) for _ in range(random.randint(20, 120))]
        yield [item for item, _ in drawn], [chance for _, chance in drawn]


def paths_of(kind: Kind, random: Random) -> list[Path]:
    """The classes that a program has items of."""
    lots = range(random.randint(4, 20))
    return [("cable",)] if kind.one_class else [_path(random, lot) for lot in lots]


def _path(random: Random, lot: int) -> Path:
    gear = random.choice(("cable", "cable", "cable", "hub", "trunk"))
    connector, strapped = random.choice(("xlr3", "trs")), random.choice(("strapped", "free"))
    path = gear, f"{gear} {connector}", f"{gear} {connector} {strapped}"
    return (*path, f"{path[-1]} lot {lot}") if random.random() < 0.7 else path


def item_model(random: Random, kind: Kind, path: Path, models: dict[Path, Model]) -> Model:
    """Shape and scale of an item of this class."""
    shape, scale = _model(random, kind, path, models)
    if kind.items:
        scale *= max(random.gammavariate(1 / kind.items, kind.items), 1e-9) ** (-1 / shape)
    return shape, scale


def _model(random: Random, kind: Kind, path: Path, models: dict[Path, Model]) -> Model:
    """Shape and scale of a class, drawn when it is first asked for."""
    if path not in models and len(path) == 1:
        scale = math.exp(random.uniform(math.log(250), math.log(900)))
        models[path] = random.uniform(1, 2.5), scale * kind.longer
    elif path not in models:
        shape, scale = _model(random, kind, path[:-1], models)
        lasts = 1 / 3 if random.random() < kind.bad_lots else 1
        models[path] = shape, scale * math.exp(random.gauss(0, kind.classes)) * lasts
    return models[path]


def _item(random: Random, kind: Kind, path: Path, models: dict[Path, Model]) -> tuple[PooledItem, float]:
    """An item by the end of the last season, and its true chance."""
    shape, scale = item_model(random, kind, path, models)
    born, good, lives = SEASON * random.randrange(kind.seasons), 0, []
    fails = random.weibullvariate(scale, shape)
    for half in range(2 * kind.seasons):
        evening = SEASON * half // 2 + random.randint(5, 40)
        age = evening - born
        if age > 0 and (fails > age or random.random() > kind.found):
            good = age
        elif age > 0:
            lives.append(Life(good, age))
            born, good, fails = evening, 0, random.weibullvariate(scale, shape)
    event = max(good, SEASON * kind.seasons - born) + random.choice(kind.ahead)
    lives.append(Life(good, None))
    chance = -math.expm1((good / scale) ** shape - (event / scale) ** shape)
    return PooledItem(path, tuple(lives), good, event), chance


@dataclass(frozen=True)
class Group:
    """Items of which much the same was said: the mean chance that was said, the mean that was true, and how far apart
    the sums are, in standard deviations of how many fail.
    """

    said: float
    true: float
    off: float


def grouped(said: Sequence[float], true: Sequence[float]) -> Group:
    """What was said of these items against the truth."""
    p, q = np.array(said), np.array(true)
    return Group(float(p.mean()), float(q.mean()), float((p.sum() - q.sum()) / math.sqrt((q * (1 - q)).sum())))


def tenths(said: Sequence[float], true: Sequence[float]) -> list[Group]:
    """The same by tenths of what was said, from the least risk to the most."""
    in_order = np.argsort(said, kind="stable")
    return [grouped([said[i] for i in part], [true[i] for i in part]) for part in np.array_split(in_order, 10)]


def score(said: Sequence[float], true: Sequence[float]) -> float:
    """The mean logarithmic score, with what was said cut at 0.0001 and 0.9999; higher is better."""
    p, q = np.clip(said, 1e-4, 1 - 1e-4), np.array(true)
    return float((q * np.log(p) + (1 - q) * np.log1p(-p)).mean())
