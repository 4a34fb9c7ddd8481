"""Which spares to buy: the least money for a wanted chance, or the greatest chance for the money. Pure.

Both are exact: of each stock those purchases are kept that may be part of the answer (see `frontier`), and what stays
of each is put together. Only where a stock has more of these than are followed, as it does where dozens of pieces of
several lengths are to be bought, another purchase may be a little better, and `Kit.exact` says so.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain, islice
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
"""In so many steps the chance that may be lost is shared out among stocks."""
LEVELS_OF_STEPS = (2, 6, 14, 28, STEPS)


@dataclass(frozen=True)
class Kit:
    """A purchase for each stock, what it costs, and the chance that each is enough.

    `exact`: none is better. Where there are very many pieces that is not proven, and another may be a little better.
    """

    bought: tuple[Bought, ...]
    cents: int
    chances: tuple[float, ...]
    exact: bool = True

    @property
    def chance(self) -> float:
        """The chance that all are enough."""
        return prod(self.chances)


def cheapest(stocks: Sequence[Stock], wanted: float) -> Kit | None:
    """The purchase that covers all failures with the wanted chance at the least cost; None where none does.

    Of those that cost the same it has the fewest pieces.
    """
    ladders = [ladder_of(stock) for stock in stocks]
    wanted *= 1 - EQUAL
    near = _quick(ladders, wanted)
    if near is None:
        return None
    found = _combined(ladders, wanted, _cost(ladders, near))
    return _as_kit(ladders, found.counts[0] if len(found.cost) else chain(*near), found.exact)


def can_be_enough(stock: Stock, wanted: float) -> bool:
    """Whether any purchase covers a stock with the wanted chance; not so where a price that it takes is unknown."""
    return _quick([ladder_of(stock)], wanted * (1 - EQUAL)) is not None


def best_within(stocks: Sequence[Stock], cents: int) -> Kit:
    """The purchase for at most so many cents that covers all failures with the greatest chance.

    Of those with the same chance it is the cheapest. Where nothing gives any chance to speak of, nothing is bought.
    """
    ladders = [ladder_of(stock) for stock in stocks]
    most = cents * MILLIONTHS + MILLIONTHS - 1
    near = _quick_within(ladders, most)
    chance = _chance(ladders, near)
    if chance < EQUAL:
        return _as_kit(ladders, [0] * sum(len(ladder.laws) for ladder in ladders), exact=True)
    found = _combined(ladders, chance * (1 - EQUAL), most)
    if not len(found.cost):
        return _as_kit(ladders, chain(*near), found.exact)
    return _as_kit(ladders, found.counts[bisect_left(found.chance, found.chance[-1] * (1 - EQUAL))], found.exact)


Counts = tuple[tuple[int, ...], ...]
"""How many are bought on each rung of each ladder."""


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
    """A purchase with the wanted chance that is not far from the cheapest; None where none has it."""
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
    """A purchase for the money that is not far from the best."""
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
    """What is offered: its price, and on which rung of which ladder."""
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
    """What stocks cost at the least together, by how much of the chance may be lost among them.

    The logarithm of the chance that may be lost is cut into steps, and a stock that loses part of one counts as if it
    lost all of it. So of stocks that lose so many steps together, up to one more is counted for each.
    """

    def __init__(self, ladders: Sequence[Ladder], wanted: float) -> None:
        self._step = -log(wanted) / STEPS
        self._count = len(ladders)
        levels = [wanted ** (lost / STEPS) * (1 - EQUAL) for lost in range(STEPS + 1)]
        self.alone = [least_cost(ladder, levels) for ladder in ladders]

    def of(self, numbers: Iterable[int]) -> "Floats":
        """What these ladders cost together at the least, by steps that are lost among all."""
        import numpy as np

        numbers = list(numbers)
        width = STEPS + self._count + 1
        total = np.zeros(width)
        for number in numbers:
            mine = np.concatenate([self.alone[number], np.repeat(self.alone[number][-1], width - STEPS - 1)])
            total = np.array([(mine[: lost + 1] + total[lost::-1]).min() for lost in range(width)])
        return total

    def left(self, chance: "Floats", others: int) -> "Ints":
        """How many steps may be lost among so many others, as they are counted, where so much is covered so far."""
        import numpy as np

        left: Ints = np.clip(STEPS + np.floor(np.log(chance) / self._step + 1e-6), 0, STEPS).astype(int)
        return left + others

    def beyond(self, number: int, wanted: float) -> Beyond:
        """What is asked beyond one ladder."""
        import numpy as np

        total = self.of(at for at in range(self._count) if at != number)
        least = [0, *LEVELS_OF_STEPS[:-1]]  # lost by this one, at the least, where it is at this level and not better
        levels = tuple(wanted ** (lost / STEPS) * (1 - EQUAL) for lost in LEVELS_OF_STEPS)
        return Beyond(levels, np.array([total[STEPS - lost + self._count - 1] for lost in least]))


def _combined(ladders: Sequence[Ladder], wanted: float, most: int) -> "_Combined":
    """The purchases of all stocks for at most so much with at least that chance, of which none is beaten; by cost."""
    import numpy as np

    shares, exact = _Shares(ladders, wanted), True
    cost, chance, counts = np.zeros(1), np.ones(1), np.zeros((1, 0), int)
    for at, ladder in enumerate(ladders):
        mine, all_ = frontier(ladder, wanted, most, shares.beyond(at, wanted))
        exact = exact and all_
        costs, chances = (cost[:, None] + mine.cost).ravel(), np.outer(chance, mine.chance).ravel()
        fine = np.flatnonzero(chances >= wanted)
        after = shares.of(range(at + 1, len(ladders)))[shares.left(chances[fine], len(ladders) - at - 1)]
        fine = fine[costs[fine] + after <= most]
        order = fine[np.lexsort((-chances[fine], costs[fine]))]
        order = order[chances[order] > np.maximum.accumulate([0.0, *chances[order]])[:-1]]
        row, other = np.divmod(order, max(1, len(mine.cost)))
        cost, chance = costs[order], chances[order]
        counts = np.column_stack([counts[row], mine.counts[other]])
    return _Combined(cost, chance, counts, exact)


@dataclass(frozen=True)
class _Combined:
    """What each purchase costs, the chance that all are enough, and how many on each rung; and whether none is left out
    that might be better.
    """

    cost: "Floats"
    chance: "Floats"
    counts: "Ints"
    exact: bool
