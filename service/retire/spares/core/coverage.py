"""The chance that the spares of a trip are enough. Pure.

A piece fails once or not at all, each with a chance of its own, so how many of a length fail follows Poisson's binomial
law: the convolution of single chances. So does how many of the spares work, which may have failed themselves. A longer
spare stands in for a shorter one, never the other way round: a case is enough when, for every length, the working
spares of that length and longer outnumber the failures of that length and longer (Hall's condition for nested sets).
`covered` adds that chance up exactly, from the longest length down.

Three spares cover forty pieces that fail with 1 in 40 each at 95 %, and two do not:

>>> forty = Stock(tuple((3048, 1 / 40) for _ in range(40)))
>>> [round(covered(forty, {3048: spares}), 4) for spares in (2, 3)]
[0.9221, 0.9826]
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import accumulate, takewhile
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

Length = int
"""Of a cable, in millimeters; 0 where a kind has none."""
Bought = Mapping[Length, int]
"""How many of each length are bought."""
Offer = tuple[Length, int]
"""What can be bought, and what it costs in millionths of a cent."""

TINY = 1e-18
"""Chances below this at the ends of a law are left out."""
MILLIONTHS = 1_000_000
"""Cents are counted in millionths, so that of two purchases that cost the same the one of fewer pieces is cheaper."""


@dataclass(frozen=True)
class Trip:
    """How many days a trip has, in how many of a hundred trips the spares must be enough, and what may be spent.

    A weekend, 95 of 100 and 200 dollars are usual (common practice, no source).
    """

    days: int = 3
    percent: int = 95
    budget_cents: int = 20_000


@dataclass(frozen=True)
class Stock:
    """What can stand in for one another, but for its length.

    `needed` tells of each piece in use its length, and the chance that it fails on the trip; `spares` of each piece in
    the case its length, and the chance that it works; `prices` what one of each length costs, in cents, as far as that
    is known.
    """

    needed: tuple[tuple[Length, float], ...]
    spares: tuple[tuple[Length, float], ...] = ()
    prices: tuple[tuple[Length, int], ...] = ()


class Law(NamedTuple):
    """The chances of whole numbers, from `low` on."""

    low: int
    chances: "Floats"

    @property
    def most(self) -> int:
        """The largest number that may come."""
        return self.low + len(self.chances) - 1

    def plus(self, other: "Law") -> "Law":
        """The law of the sum of two numbers that do not depend on each other."""
        import numpy as np

        return Law(self.low + other.low, np.convolve(self.chances, other.chances))

    def up_to(self, most: int) -> "Law":
        """The same without all that is more."""
        return Law(self.low, self.chances[: max(0, most - self.low + 1)])


def how_many(chances: Sequence[float]) -> Law:
    """How many of these come to pass, each with its chance and apart from the others."""
    import numpy as np

    laws = [Law(0, np.array([1 - chance, chance])) for chance in chances] or [Law(0, np.ones(1))]
    while len(laws) > 1:
        pairs = [one.plus(other) for one, other in zip(laws[::2], laws[1::2], strict=False)]
        laws = [_trimmed(law) for law in pairs] + laws[len(pairs) * 2 :]
    return laws[0]


def _trimmed(law: Law) -> Law:
    import numpy as np

    there = np.flatnonzero(law.chances > TINY)
    return Law(law.low + int(there[0]), law.chances[there[0] : there[-1] + 1])


def covered(stock: Stock, bought: Bought | None = None) -> float:
    """The chance that the spares are enough for all that fails, with what is bought besides, which works."""
    return ladder_of(stock).covered(bought or {})


@dataclass(frozen=True)
class Ladder:
    """A stock as rungs: the lengths that are needed, the longest first, with what may be bought for each.

    A length stands on the rung of the longest need that it is long enough for. What is dearer than something longer
    is never bought.
    """

    stock: Stock

    @cached_property
    def lengths(self) -> list[Length]:
        """The lengths that are needed."""
        return sorted({length for length, chance in self.stock.needed if chance > 0}, reverse=True)

    @cached_property
    def laws(self) -> list[Law]:
        """Of each rung how many more fail than spares of that rung work."""
        failing, working = defaultdict(list), defaultdict(list)
        for length, chance in self.stock.needed:
            failing[length].append(chance)
        for length, chance in self.stock.spares:
            working[self.rung(length)].append(chance)
        found = []
        for at, length in enumerate(self.lengths):
            works = how_many(working[at])
            minus = Law(-works.most, works.chances[::-1])
            found.append(_trimmed(how_many(failing[length]).plus(minus)))
        return found

    @cached_property
    def onward(self) -> list[list[Law]]:
        """Of each rung the laws of the sums from it on down."""
        return [list(accumulate(self.laws[at:], Law.plus)) for at in range(len(self.laws))]

    @cached_property
    def offers(self) -> list[Offer | None]:
        """What is bought for each rung, and what it costs; None where nothing is worth it."""
        found: list[Offer | None] = [None] * len(self.lengths)
        least: int | None = None
        for length, cents in sorted(self.stock.prices, key=lambda one: (one[1], -one[0])):
            at = self.rung(length)
            if at is not None and (least is None or at < least):
                found[at], least = (length, cents * MILLIONTHS + 1), at
        return found

    def rung(self, length: Length) -> int | None:
        return next((at for at, needed in enumerate(self.lengths) if needed <= length), None)

    def covered(self, bought: Bought) -> float:
        counts = [0] * len(self.lengths)
        for length, count in bought.items():
            at = self.rung(length)
            if at is not None:
                counts[at] += count
        return self.chance(counts)

    def chance(self, counts: Sequence[int]) -> float:
        """The chance that it is enough with so many more on each rung."""
        known = self._chances.get(tuple(counts))
        if known is None:
            import numpy as np

            state, there = Law(0, np.ones(1)), 0
            for law, count in zip(self.laws, counts, strict=True):
                there += count
                state = state.plus(law).up_to(there) if len(state.chances) else state
            known = self._chances[tuple(counts)] = float(state.chances.sum())
        return known

    @cached_property
    def _chances(self) -> dict[tuple[int, ...], float]:
        return {}

    def purchase(self, counts: Sequence[int]) -> Bought:
        """What so many on each rung are."""
        return {
            offer[0]: count for offer, count in zip(self.offers, counts, strict=True) if offer is not None and count
        }

    def most_missing(self, at: int, missing: int) -> int:
        """How many can be missing at the most before the next rung for which something is bought."""
        rungs = zip(self.onward[at], [None, *self.offers[at + 1 :]], strict=True)
        return missing + max(law.most for law, offer in takewhile(lambda rung: not rung[1], rungs))

    def at_level(self, level: float) -> list[int]:
        """How many on each rung cover each rung by itself with this chance, where something can be bought for it."""
        import numpy as np

        counts, there, offer = [0] * len(self.laws), 0, None
        for at, law in enumerate(self.onward[0] if self.laws else ()):
            offer = at if self.offers[at] else offer
            needed = law.low + int(np.searchsorted(np.cumsum(law.chances), level))
            if offer is not None and needed > there:
                counts[offer] += needed - there
                there = needed
        return counts


@lru_cache(maxsize=64)
def ladder_of(stock: Stock) -> Ladder:
    return Ladder(stock)
