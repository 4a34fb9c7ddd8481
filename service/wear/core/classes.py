"""Classes of items that wear alike, and which of them have enough failures for a model of their own. Pure.

A class is a path: kind, connectors, strapped to a frame or free, purchase lot; each step narrows the one before. For a
class with fewer than `ENOUGH` failures, or whose failures say nothing about use, the model of the next wider class with
enough is used, at the widest that of its whole kind: a cable is never judged by hubs.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from service.wear.core.confidence import edge
from service.wear.core.fit import NoModel, fit
from service.wear.core.lives import Life, aggregated
from service.wear.core.turnbull import Steps, turnbull
from service.wear.core.weibull import Weibull

ENOUGH = 5
"""Failures that a class needs for its own model (common practice, no source): fewer leave the shape to chance."""

_OTHERWISE = 5.991464547107979
"""The 95 % point of chi squared with two degrees of freedom, for one more shape and one more scale (tables)."""

Path = tuple[str, ...]


@dataclass(frozen=True)
class Fitted:
    """A model, and models all around the edge of its 95 % confidence region."""

    model: Weibull
    edge: tuple[Weibull, ...]


@dataclass(frozen=True)
class JudgedClass:
    """A class, its failures and lives, and `by`, the class whose model `fitted` is used; both None if there is none."""

    path: Path
    failures: int
    lives: int
    by: Path | None
    fitted: Fitted | None


@dataclass(frozen=True)
class ClassModels:
    """The models of the classes, wider ones included, that have one, and those that wear otherwise than their kind."""

    fitted: Mapping[Path, Fitted]
    otherwise: frozenset[Path]


def class_models(lives: Mapping[Path, Sequence[Life]]) -> ClassModels:
    """The models of all classes with enough failures."""
    fitted = {}
    for path, pool in sorted(pooled(lives).items()):
        if failures_of(pool) >= ENOUGH and (model := fitted_to(in_order(pool))) is not None:
            fitted[path] = model
    return ClassModels(fitted, frozenset(path for path in fitted if wears_otherwise(path, lives)))


def judged(lives: Mapping[Path, Sequence[Life]], models: ClassModels | None = None) -> list[JudgedClass]:
    """Every class that has items of its own, with its own model or that of the next wider class that has one.

    `models` are those of these lives, where they are known already.
    """
    by_class, models = pooled(lives), models or class_models(lives)
    return [_judged(path, by_class, models) for path in sorted(lives)]


def pooled(lives: Mapping[Path, Sequence[Life]]) -> dict[Path, list[Life]]:
    """The lives of every class and wider class, those of the narrower classes within it included."""
    pools: dict[Path, list[Life]] = defaultdict(list)
    for path, own in lives.items():
        for length in range(1, len(path) + 1):
            pools[path[:length]] += own
    return pools


def _judged(path: Path, pool: Mapping[Path, Sequence[Life]], models: ClassModels) -> JudgedClass:
    counts = failures_of(pool[path]), sum(life.count for life in pool[path])
    by = next((path[:length] for length in range(len(path), 0, -1) if path[:length] in models.fitted), None)
    return JudgedClass(path, *counts, by, models.fitted[by] if by else None)


def failures_of(lives: Iterable[Life]) -> int:
    """How many of them failed."""
    return sum(life.count for life in lives if life.upper is not None)


def in_order(lives: Iterable[Life]) -> tuple[Life, ...]:
    """The lives with equal ones merged, in an order that does not depend on theirs: a key for caches."""
    return tuple(sorted(aggregated(lives), key=_order))


@lru_cache(maxsize=256)
def fitted_to(lives: tuple[Life, ...]) -> Fitted | None:
    """The model of these lives, cached: between two tests nothing changes. None if they determine none."""
    model = _model_of(lives)
    return Fitted(model, tuple(edge(lives, model))) if model else None


def wears_otherwise(path: Path, lives: Mapping[Path, Sequence[Life]]) -> bool:
    """Whether a class wears differently from the rest of its kind, by the likelihood-ratio test at 5 %.

    Two models, of the class and of the rest, each with enough failures, are tested against one model of all.
    """
    of_kind = {other: own for other, own in lives.items() if other[0] == path[0]}
    own, rest = (
        [life for other, own in of_kind.items() if (other[: len(path)] == path) is within for life in own]
        for within in (True, False)
    )
    if min(failures_of(own), failures_of(rest)) < ENOUGH:
        return False
    apart, together = (_model_of(in_order(own)), _model_of(in_order(rest))), _model_of(in_order([*own, *rest]))
    if apart[0] is None or apart[1] is None or together is None:
        return False
    gained = apart[0].log_likelihood + apart[1].log_likelihood - together.log_likelihood
    return 2 * gained > _OTHERWISE


@lru_cache(maxsize=256)
def _model_of(lives: tuple[Life, ...]) -> Weibull | None:
    model = fit(lives)
    return None if isinstance(model, NoModel) else model


@lru_cache(maxsize=256)
def steps_of(lives: tuple[Life, ...]) -> Steps:
    """The nonparametric estimate of these lives, cached in the same way."""
    return turnbull(lives)


def _order(life: Life) -> tuple[float, float]:
    return life.lower, -1.0 if life.upper is None else life.upper
