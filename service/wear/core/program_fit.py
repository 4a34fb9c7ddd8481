"""The fit of a whole program, and an item's own posterior under it. Pure.

A fit is the posterior of every class given the lives of all items at one time (`pooling`). What an item showed since is
applied exactly, without a new fit: the class as the others know it is the posterior of the class divided by what the
item's lives said at the fit, and the item's posterior is the likelihood of its lives now, times that class spread over
the items of it. An item whose lives are as they were at the fit so has the posterior that `pooling.posterior` gives.

What an item showed since the fit says nothing of other items until the next one. An item that is in another class than
at the fit, or was not there, is judged by its class alone; one whose class was not there, by a class without lives that
is within the next wider one.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final
from uuid import UUID

import numpy as np

from service.wear.core.classes import Path
from service.wear.core.grid import SIZE, Floats, log_likelihoods
from service.wear.core.lives import Life
from service.wear.core.pooling import (
    ITEM_WIDTHS,
    ClassLives,
    ClassTables,
    KnownLives,
    Posterior,
    class_tables,
    expected_as_it_is,
    expected_failures,
    item_spreads,
)

ItemLives = tuple[UUID, Path, tuple[Life, ...]]
"""An item, its class and its lives."""


@dataclass(frozen=True)
class Piece:
    """An item under a fit: its class, its lives now, and those at the fit (None: it was not there, or of another
    class).
    """

    path: Path
    lives: tuple[Life, ...]
    fitted: tuple[Life, ...] | None = None


@dataclass(frozen=True)
class ProgramFit:
    """The posterior of every class, and the class and lives of each item that it rests on."""

    tables: ClassTables
    items: Mapping[UUID, KnownLives]
    _chances: dict[tuple[Piece, float, float], float] = field(default_factory=dict)
    _renewed: dict[tuple[Piece, tuple[float, ...]], tuple[list[float], float]] = field(default_factory=dict)

    def piece(self, item_id: UUID, path: Path, lives: tuple[Life, ...]) -> Piece:
        """An item with its class and lives as they are now."""
        then = self.items.get(item_id)
        return Piece(path, lives, then[1] if then and then[0] == path else None)

    def posterior(self, pieces: Iterable[Piece]) -> Posterior:
        """The posterior of these pieces."""
        number: dict[Piece, int] = {}
        which = np.array([number.setdefault(piece, len(number)) for piece in pieces], int)
        of_class: dict[Path, list[int]] = defaultdict(list)
        for piece, at in number.items():
            of_class[piece.path].append(at)
        different = list(number)
        points = np.empty((len(different), *SIZE))
        for path, own in of_class.items():
            for begin in range(0, len(own), _AT_ONCE):
                some = own[begin : begin + _AT_ONCE]
                points[some] = _points(self._table(path), [different[at] for at in some])
        return Posterior(points, which)

    def fails_between(self, pieces: Sequence[Piece], passed: Sequence[float], until: Sequence[float]) -> list[float]:
        """The chance of each piece to fail after the first age, at which it is good, and by the second; cached."""
        spans = list(zip(pieces, passed, until, strict=True))
        cached = [self._chances.get(span) for span in spans]
        unknown = list(dict.fromkeys(span for span, chance in zip(spans, cached, strict=True) if chance is None))
        fresh: dict[tuple[Piece, float, float], float] = {}
        if unknown:
            known = self.posterior([piece for piece, _, _ in unknown])
            chances = known.fails_between([begin for _, begin, _ in unknown], [end for _, _, end in unknown])
            fresh = dict(zip(unknown, chances, strict=True))
            if len(self._chances) > _CACHED:
                self._chances.clear()
            self._chances.update(fresh)
        return [fresh[span] if chance is None else chance for span, chance in zip(spans, cached, strict=True)]

    def renewed(self, pieces: Sequence[Piece], days: Sequence[float]) -> list[tuple[list[float], float]]:
        """The expected failures of pieces that are as good as new from today on (see `expected_failures`); cached."""
        keys = [(piece, tuple(days)) for piece in pieces]
        cached = {key: self._renewed.get(key) for key in keys}
        unknown = [key for key, expected in cached.items() if expected is None]
        if unknown:
            points = self.posterior([piece for piece, _ in unknown]).points
            fresh = dict(zip(unknown, expected_failures(points, days), strict=True))
            if len(self._renewed) > _CACHED:
                self._renewed.clear()
            self._renewed.update(fresh)
            cached |= fresh
        return [expected for key in keys if (expected := cached[key]) is not None]

    def as_it_is(self, piece: Piece, passed: float, today: float, days: float) -> tuple[float, float]:
        """The expected failures of a piece that is left as it is (see `expected_as_it_is`)."""
        return expected_as_it_is(self.posterior([piece]).points[0], passed, today, days)

    def _table(self, path: Path) -> Floats:
        """The posterior of item widths and points of a class (widths, shapes, scales)."""
        if path in self.tables.known:
            return self.tables.known[path]
        wider = next(path[:length] for length in range(len(path), -1, -1) if path[:length] in self.tables.within)
        return self.tables.within[wider]


_CACHED: Final = 50_000
"""So many chances are cached, and so many expected failures."""
_AT_ONCE: Final = 100
"""Pieces that are reckoned at once, to bound the memory."""


@lru_cache(maxsize=2)
def fit_program(items: tuple[ItemLives, ...]) -> ProgramFit:
    """The fit to these items; cached, for where none is stored yet."""
    of_class: dict[Path, dict[tuple[Life, ...], int]] = defaultdict(dict)
    for _, path, lives in items:
        of_class[path][lives] = of_class[path].get(lives, 0) + 1
    logs = {
        path: ClassLives.of(list(counts), np.array(list(counts.values()))).log_likelihood()
        for path, counts in of_class.items()
    }
    return ProgramFit(class_tables(logs), {item_id: (path, lives) for item_id, path, lives in items})


def _points(table: Floats, pieces: Sequence[Piece]) -> Floats:
    """The posterior of pieces of one class (pieces, shapes, scales), from that of the class."""
    own, log_own = _likelihoods([piece.lives for piece in pieces])
    then, log_then = _likelihoods([piece.fitted or () for piece in pieces])
    spread_then = (then.reshape(-1, SIZE[1]) @ item_spreads()).reshape(-1, SIZE[0], len(ITEM_WIDTHS), SIZE[1])
    from_class = (table.swapaxes(0, 1) / spread_then).reshape(-1, item_spreads().shape[1]) @ item_spreads().T
    log_factors = log_own - log_then
    factors = np.exp(log_factors - log_factors.max(axis=1, keepdims=True))
    points: Floats = own * from_class.reshape(own.shape) * factors
    points /= points.sum(axis=(1, 2), keepdims=True)
    return points


def _likelihoods(lives: Sequence[tuple[Life, ...]]) -> tuple[Floats, Floats]:
    """The likelihood of each item's lives at each point, divided by the greatest with that shape; and the logarithms of
    those divisors (items, shapes, 1). Without lives it is 1.
    """
    logs = log_likelihoods(lives)
    most = logs.max(axis=2, keepdims=True)
    return np.exp(logs - most), most
