"""Which spares to buy: the least cost for a wanted chance, or the greatest chance within a budget. Pure.

Both are exact: the purchases of each stock that may be part of the optimum (see `frontier`) are combined. Only if a
stock has more of these than are kept, as with dozens of pieces of several lengths, a slightly better purchase may
exist; `Kit.exact` is then False.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import accumulate, chain, islice
from math import log, prod
from typing import TYPE_CHECKING

from service.retire.spares.core.coverage import MILLIONTHS, Bought, Ladder, Stock, ladder_of
from service.retire.spares.core.frontier import Beyond, frontier, least_cost
from service.wear.core.risk import EQUAL

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int_]

STEPS = 48
"""Steps into which the chance that may be lost is divided, to be distributed among stocks."""
LEVELS_OF_STEPS = (2, 6, 14, 28, STEPS)


@dataclass(frozen=True)
class Kit:
    """A purchase for each stock, the total cost in cents, and the chance that each stock is enough.

    `exact`: it is proven that none is better. With very many pieces it is not proven.
    """

    bought: tuple[Bought, ...]
    cents: int
    chances: tuple[float, ...]
    exact: bool = True

    @property
    def chance(self) -> float:
        """The chance that all stocks are enough."""
        return prod(self.chances)


def cheapest(stocks: Sequence[Stock], wanted: float) -> Kit | None:
    """The purchase of the least cost that covers all failures with the wanted chance; None if none does.

    Of those that cost the same it has the fewest pieces.
    """
    ladders = [ladder_of(stock) for stock in stocks]
    wanted *= 1 - EQUAL
    near = _quick(ladders, wanted)
    if near is None:
        return None
    optimal = _combined(ladders, wanted, _cost(ladders, near))
    return _as_kit(ladders, optimal.counts[0] if len(optimal.cost) else chain(*near), optimal.exact)


def can_be_enough(stock: Stock, wanted: float) -> bool:
    """Whether any purchase covers a stock with the wanted chance; only lengths with a known price can be bought."""
    ladder = ladder_of(stock)
    return ladder.chance(ladder.at_level(LEVELS[-1])) >= wanted * (1 - EQUAL)


def best_within(stocks: Sequence[Stock], cents: int) -> Kit:
    """The purchase of at most `cents` that covers all failures with the greatest chance.

    Of those with the same chance it is the cheapest. If even the best chance is negligible, nothing is bought.
    """
    ladders = [ladder_of(stock) for stock in stocks]
    most = cents * MILLIONTHS + MILLIONTHS - 1
    near = _quick_within(ladders, most)
    chance = _chance(ladders, near)
    if chance < EQUAL:
        return _as_kit(ladders, [0] * sum(len(ladder.laws) for ladder in ladders), exact=True)
    optimal = _combined(ladders, chance * (1 - EQUAL), most)
    if not len(optimal.cost):
        return _as_kit(ladders, chain(*near), optimal.exact)
    cheapest_of_best = bisect_left(optimal.chance, optimal.chance[-1] * (1 - EQUAL))
    return _as_kit(ladders, optimal.counts[cheapest_of_best], optimal.exact)


Counts = tuple[tuple[int, ...], ...]
"""How many are bought for each rung of each ladder."""


def _as_kit(ladders: Sequence[Ladder], counts: Iterable[int], exact: bool) -> Kit:
    rest = iter(map(int, counts))
    each = tuple(tuple(islice(rest, len(ladder.laws))) for ladder in ladders)
    bought = tuple(ladder.purchase(mine) for ladder, mine in zip(ladders, each, strict=True))
    chances = tuple(ladder.chance(mine) for ladder, mine in zip(ladders, each, strict=True))
    return Kit(bought, _cost(ladders, each) // MILLIONTHS, chances, exact)


def _cost(ladders: Sequence[Ladder], counts: Counts) -> int:
    return sum(
        count * offer[1]
        for ladder, each in zip(ladders, counts, strict=True)
        for offer, count in zip(ladder.offers, each, strict=True)
        if offer and count
    )


def _chance(ladders: Sequence[Ladder], counts: Counts) -> float:
    return prod(ladder.chance(each) for ladder, each in zip(ladders, counts, strict=True))


LEVELS = [1 - 10 ** (-step / 8) for step in range(8 * 13)]
"""Chances from 0 to all but certain."""


def _quick(ladders: Sequence[Ladder], wanted: float) -> Counts | None:
    """A purchase with the wanted chance close to the cheapest, by a greedy search; None if none has the chance."""
    at = bisect_left(LEVELS, True, key=lambda level: _chance(ladders, _at_level(ladders, level)) >= wanted)
    if at == len(LEVELS):
        return None
    counts, better = _at_level(ladders, LEVELS[at]), True
    while better:
        better = False
        for price, *less in sorted(_rungs(ladders), reverse=True):
            for cheaper, *more in [(0, *less), *(rung for rung in _rungs(ladders) if rung[0] < price)]:
                while counts[less[0]][less[1]]:
                    other = _with(counts, less[0], less[1], -1)
                    other = _with(other, more[0], more[1], 1) if cheaper else other
                    if _chance(ladders, other) < wanted:
                        break
                    counts, better = other, True
    return counts


def _quick_within(ladders: Sequence[Ladder], most: int) -> Counts:
    """A purchase within the budget close to the best, by a greedy search."""
    at = bisect_left(LEVELS, True, key=lambda level: _cost(ladders, _at_level(ladders, level)) > most)
    counts = _at_level(ladders, LEVELS[at - 1]) if at else tuple((0,) * len(ladder.laws) for ladder in ladders)
    left = most - _cost(ladders, counts)
    while offers := [rung for rung in _rungs(ladders) if rung[0] <= left]:
        chance = _chance(ladders, counts)
        gains = [((_chance(ladders, _with(counts, rung[1], rung[2], 1)) - chance) / rung[0], rung) for rung in offers]
        gain, rung = max(gains)
        if gain <= 0:
            return counts
        counts, left = _with(counts, rung[1], rung[2], 1), left - rung[0]
    return counts


def _at_level(ladders: Sequence[Ladder], level: float) -> Counts:
    return tuple(tuple(ladder.at_level(level)) for ladder in ladders)


def _rungs(ladders: Sequence[Ladder]) -> list[tuple[int, int, int]]:
    """All offers: the price, the number of the ladder, and the rung."""
    return [
        (offer[1], number, at)
        for number, ladder in enumerate(ladders)
        for at, offer in enumerate(ladder.offers)
        if offer
    ]


def _with(counts: Counts, ladder: int, rung: int, by: int) -> Counts:
    each = counts[ladder]
    more = (*each[:rung], each[rung] + by, *each[rung + 1 :])
    return (*counts[:ladder], more, *counts[ladder + 1 :])


class _Shares:
    """Lower bounds of the joint cost of stocks, by how much of the chance may be lost among them.

    The logarithm of the wanted chance is divided into `STEPS`, and a stock that loses part of a step is counted with
    the whole step. So for stocks that lose n steps together, up to one more is counted for each.
    """

    def __init__(self, ladders: Sequence[Ladder], wanted: float) -> None:
        import numpy as np

        self._step, count = -log(wanted) / STEPS, len(ladders)
        self._width = STEPS + count + 1
        alone = [np.pad(_alone(ladder, wanted), (0, count), mode="edge") for ladder in ladders]
        nothing = np.zeros(self._width)
        self._before = list(accumulate(alone, self._joint, initial=nothing))
        self.from_on = list(accumulate(reversed(alone), self._joint, initial=nothing))[::-1]
        """For each ladder the least joint cost of it and all that follow, by the steps lost among them (steps,)."""

    def _joint(self, one: "Floats", other: "Floats") -> "Floats":
        """The least joint cost of two sets of ladders, by the steps lost among them (steps,)."""
        import numpy as np

        padded = np.concatenate([np.full(self._width - 1, np.inf), one])
        shifted = np.lib.stride_tricks.sliding_window_view(padded, self._width)[:, ::-1]
        joint: Floats = (shifted + other).min(axis=1)
        return joint

    def left(self, chance: "Floats", others: int) -> "Ints":
        """How many steps `others` more stocks may lose, as they are counted, where the chance so far is `chance`."""
        import numpy as np

        left: Ints = np.clip(STEPS + np.floor(np.log(chance) / self._step + 1e-6), 0, STEPS).astype(int)
        return left + others

    def beyond(self, number: int, wanted: float) -> Beyond:
        """The least cost of all ladders but one."""
        import numpy as np

        total = self._joint(self._before[number], self.from_on[number + 1])
        least = [0, *LEVELS_OF_STEPS[:-1]]  # the least steps that this one loses at each level
        levels = tuple(wanted ** (lost / STEPS) * (1 - EQUAL) for lost in LEVELS_OF_STEPS)
        return Beyond(levels, np.array([total[self._width - 2 - lost] for lost in least]))


def _alone(ladder: Ladder, wanted: float) -> "Floats":
    """The least cost of a ladder by itself, by the steps that it loses of this chance (steps,); cached with the
    ladder, since most stocks stay as they are from one test to the next.
    """
    known = ladder.least_costs.get(wanted)
    if known is None:
        levels = [wanted ** (lost / STEPS) * (1 - EQUAL) for lost in range(STEPS + 1)]
        known = ladder.least_costs[wanted] = least_cost(ladder, levels)
    return known


def _combined(ladders: Sequence[Ladder], wanted: float, most: int) -> "_Combined":
    """The Pareto frontier of purchases of all stocks that cost at most `most` with a chance of at least `wanted`."""
    import numpy as np

    shares, exact = _Shares(ladders, wanted), True
    cost, chance, counts = np.zeros(1), np.ones(1), np.zeros((1, 0), int)
    for at, ladder in enumerate(ladders):
        mine, all_ = frontier(ladder, wanted, most, shares.beyond(at, wanted))
        exact = exact and all_
        costs, chances = (cost[:, None] + mine.cost).ravel(), np.outer(chance, mine.chance).ravel()
        fine = np.flatnonzero(chances >= wanted)
        after = shares.from_on[at + 1][shares.left(chances[fine], len(ladders) - at - 1)]
        fine = fine[costs[fine] + after <= most]
        order = fine[np.lexsort((-chances[fine], costs[fine]))]
        order = order[chances[order] > np.maximum.accumulate([0.0, *chances[order]])[:-1]]
        row, other = np.divmod(order, max(1, len(mine.cost)))
        cost, chance = costs[order], chances[order]
        counts = np.column_stack([counts[row], mine.counts[other]])
    return _Combined(cost, chance, counts, exact)


@dataclass(frozen=True)
class _Combined:
    """By cost: the cost of each purchase, the chance that all stocks are enough, and the counts for each rung. `exact`:
    no better purchase was left out.
    """

    cost: "Floats"
    chance: "Floats"
    counts: "Ints"
    exact: bool
