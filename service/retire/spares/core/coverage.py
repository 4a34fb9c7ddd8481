"""The chance that the spares of a trip are enough. Pure.

A piece fails once or not at all, each with a chance of its own, so the number of failures of a length has the
Poisson-binomial distribution, the convolution of the single ones. So has the number of spares that work, which may have
failed too. A longer spare can stand in for a shorter one, never the other way round: the spares are enough if, for
every length, at least as many spares of that length or longer work as pieces of that length or longer fail (Hall's
condition for nested sets). `covered` computes the chance exactly, from the longest length down.

For forty pieces that fail with a chance of 1 in 40 each, three spares reach 95 %, and two do not:

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
"""The length of a cable in millimeters; 0 for a kind without one."""
Bought = Mapping[Length, int]
"""How many of each length are bought."""
Offer = tuple[Length, int]
"""A length that can be bought, and its price in millionths of a cent."""

TINY = 1e-18
"""Chances below this at the ends of a distribution are left out."""
_SHORT = 9
"""How long distributions are that are still added in pairs, all at once."""
MILLIONTHS = 1_000_000
"""Of a cent. Each piece costs one more, so that of two purchases at the same price the one of fewer pieces is chosen.
"""


@dataclass(frozen=True)
class Trip:
    """The days of a trip, the percentage of trips on which the spares have to be enough, and the budget in cents.

    A weekend, 95 of 100 and 200 dollars are usual (common practice, no source).
    """

    days: int = 3
    percent: int = 95
    budget_cents: int = 20_000


@dataclass(frozen=True)
class Stock:
    """Pieces that can stand in for one another but for their length.

    `needed`: for each piece in use its length, and the chance that it fails on the trip. `spares`: for each spare its
    length, and the chance that it works. `prices`: the known prices of lengths, in cents.
    """

    needed: tuple[tuple[Length, float], ...]
    spares: tuple[tuple[Length, float], ...] = ()
    prices: tuple[tuple[Length, int], ...] = ()


class Law(NamedTuple):
    """The distribution of a whole number: the chances of `low`, `low` + 1, and so on."""

    low: int
    chances: "Floats"

    @property
    def most(self) -> int:
        """The largest possible number."""
        return self.low + len(self.chances) - 1

    def plus(self, other: "Law") -> "Law":
        """The distribution of the sum of two independent numbers."""
        import numpy as np

        return Law(self.low + other.low, np.convolve(self.chances, other.chances))

    def up_to(self, most: int) -> "Law":
        """The chances of numbers up to `most` only."""
        return Law(self.low, self.chances[: max(0, most - self.low + 1)])


def how_many(chances: Sequence[float]) -> Law:
    """The distribution of the number of these independent events that happen, each with its chance."""
    import numpy as np

    rest: list[Law] = []
    rows = np.array([(1 - chance, chance) for chance in chances]).reshape(-1, 2)
    while len(rows) > 1 and rows.shape[1] <= _SHORT:  # many short ones are added in pairs, all at once
        if len(rows) % 2:
            rest.append(Law(0, rows[-1]))
        one, other, width = rows[:-1:2], rows[1::2], rows.shape[1]
        rows = np.zeros((len(one), 2 * width - 1))
        for at in range(width):
            rows[:, at : at + width] += one[:, at : at + 1] * other
    laws = [*(_trimmed(Law(0, row)) for row in rows), *rest] or [Law(0, np.ones(1))]
    while len(laws) > 1:
        pairs = [one.plus(other) for one, other in zip(laws[::2], laws[1::2], strict=False)]
        laws = [_trimmed(law) for law in pairs] + laws[len(pairs) * 2 :]
    return laws[0]


def _trimmed(law: Law) -> Law:
    import numpy as np

    there = np.flatnonzero(law.chances > TINY)
    return Law(law.low + int(there[0]), law.chances[there[0] : there[-1] + 1])


def covered(stock: Stock, bought: Bought | None = None) -> float:
    """The chance that the spares are enough for all failures, together with what is bought, which always works."""
    return ladder_of(stock).covered(bought or {})


@dataclass(frozen=True)
class Ladder:
    """A stock as rungs: the needed lengths, the longest first, with what may be bought for each.

    A length belongs to the rung of the longest need that it is long enough for. A length that costs more than a longer
    one is never bought.
    """

    stock: Stock

    @cached_property
    def lengths(self) -> list[Length]:
        """The needed lengths, the longest first."""
        return sorted({length for length, chance in self.stock.needed if chance > 0}, reverse=True)

    @cached_property
    def laws(self) -> list[Law]:
        """For each rung the distribution of failures minus working spares."""
        failing, working = defaultdict(list), defaultdict(list)
        for length, chance in self.stock.needed:
            failing[length].append(chance)
        for length, chance in self.stock.spares:
            working[self.rung(length)].append(chance)
        laws = []
        for at, length in enumerate(self.lengths):
            works = how_many(working[at])
            minus = Law(-works.most, works.chances[::-1])
            laws.append(_trimmed(how_many(failing[length]).plus(minus)))
        return laws

    @cached_property
    def onward(self) -> list[list[Law]]:
        """For each rung the distributions of the partial sums of `laws` from it on down."""
        return [list(accumulate(self.laws[at:], Law.plus)) for at in range(len(self.laws))]

    @cached_property
    def offers(self) -> list[Offer | None]:
        """The length to buy for each rung, and its price; None if a longer one is as cheap or no price is known."""
        offers: list[Offer | None] = [None] * len(self.lengths)
        least: int | None = None
        for length, cents in sorted(self.stock.prices, key=lambda one: (one[1], -one[0])):
            at = self.rung(length)
            if at is not None and (least is None or at < least):
                offers[at], least = (length, cents * MILLIONTHS + 1), at
        return offers

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
        """The chance that the stock is enough with so many pieces bought for each rung."""
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

    @cached_property
    def least_costs(self) -> "dict[float, Floats]":
        """The least costs by the chance that is wanted, as far as `kits` asked for them."""
        return {}

    def purchase(self, counts: Sequence[int]) -> Bought:
        """The purchase of so many pieces for each rung."""
        return {
            offer[0]: count for offer, count in zip(self.offers, counts, strict=True) if offer is not None and count
        }

    def most_missing(self, at: int, missing: int) -> int:
        """The most pieces that can be missing before the next rung for which something can be bought.

        `missing` is the most that can be missing before rung `at`.
        """
        rungs = zip(self.onward[at], [None, *self.offers[at + 1 :]], strict=True)
        return missing + max(law.most for law, offer in takewhile(lambda rung: not rung[1], rungs))

    def at_level(self, level: float) -> list[int]:
        """How many to buy for each rung to cover each rung by itself with this chance, as far as that can be bought."""
        import numpy as np

        counts, there, offer = [0] * len(self.laws), 0, None
        for at, law in enumerate(self.onward[0] if self.laws else ()):
            offer = at if self.offers[at] else offer
            needed = law.low + int(np.searchsorted(np.cumsum(law.chances), level))
            if offer is not None and needed > there:
                counts[offer] += needed - there
                there = needed
        return counts


@lru_cache(maxsize=32)
def ladder_of(stock: Stock) -> Ladder:
    return Ladder(stock)
