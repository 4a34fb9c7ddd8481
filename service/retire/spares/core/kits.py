"""Which spares to buy: the least money for a wanted chance, or the greatest chance for the money. Pure.

Both are exact. Each stock is gone through from the longest length down, with every number to buy that may still be part
of the answer (branch and bound): what is left out asks for too much money, since every shorter length by itself and all
other stocks still ask for so much at the least; or it is beaten by a purchase that is as cheap and leaves a case at
least as good in every respect. What stays of each stock is then put together. Only where a hundred pieces are to be
bought not every number is followed, and `Kit.exact` says so.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain, islice
from math import log, prod
from typing import TYPE_CHECKING, Any

from service.retire.spares.core.coverage import MILLIONTHS, TINY, Bought, Ladder, Law, Offer, Stock, ladder_of

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int_]

EQUAL = 1e-12
"""Chances that differ by less than this share are the same but for rounding."""
INFINITE = float("inf")
WIDEST = 300
"""So many purchases are followed from one length to the next; a program with hundreds of failures may have more."""
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
    near = _quick(ladders, wanted)
    if near is None:
        return None
    found = _combined(ladders, wanted * (1 - EQUAL), _cost(ladders, near))
    return _as_kit(ladders, found.counts[0] if len(found.cost) else chain(*near), found.exact)


def can_be_enough(stock: Stock, wanted: float) -> bool:
    """Whether any purchase covers a stock with the wanted chance; not so where a price that it takes is unknown."""
    return _quick([ladder_of(stock)], wanted) is not None


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


@dataclass(frozen=True)
class _States:
    """A row for each purchase: the chances of whole numbers, from `low` on."""

    low: int
    chances: "Floats"

    @property
    def most(self) -> int:
        """The largest number that may come."""
        return self.low + int(self.chances.shape[1]) - 1

    def plus(self, law: Law) -> "_States":
        """The same with another number added, which does not depend on it."""
        import numpy as np

        width = self.chances.shape[1]
        padded = np.pad(law.chances, width - 1)
        shifted = np.lib.stride_tricks.sliding_window_view(padded, width + len(law.chances) - 1)[::-1]
        return _States(self.low + law.low, self.chances @ np.ascontiguousarray(shifted))


@dataclass(frozen=True)
class _Purchases:
    """Purchases down to a rung, a row each: how many on each rung, how many together, what they cost.

    `states` are how many more failed than work, as far as those that are bought were enough.
    """

    counts: "Ints"
    there: "Ints"
    cost: "Floats"
    states: _States

    @classmethod
    def none(cls) -> "_Purchases":
        """Nothing is bought yet."""
        import numpy as np

        return cls(np.zeros((1, 0), int), np.zeros(1, int), np.zeros(1), _States(0, np.ones((1, 1))))

    @property
    def chance(self) -> "Floats":
        """The chance that each was enough."""
        chance: Floats = self.states.chances.sum(axis=1)
        return chance

    def only(self, rows: Any) -> "_Purchases":
        """Some of them."""
        states = _States(self.states.low, self.states.chances[rows])
        return _Purchases(self.counts[rows], self.there[rows], self.cost[rows], states)

    def followed_by(self, law: Law, upto: int, offer: Offer | None, wanted: float, most: float) -> "_Purchases":
        """Each with none, one, two and more of what is offered on the next rung, until `upto` are there."""
        import numpy as np

        sums = self.states.plus(law)
        more = np.arange(max(0, upto - int(self.there.min())) + 1 if offer else 1)
        there = self.there[:, None] + more
        cost = self.cost[:, None] + more * (offer[1] if offer else 0)
        sofar = np.concatenate([np.zeros((len(there), 1)), np.cumsum(sums.chances, axis=1)], axis=1)
        chance = np.take_along_axis(sofar, np.clip(there - sums.low + 1, 0, sofar.shape[1] - 1), axis=1)
        row, count = np.nonzero((chance >= wanted) & (cost <= most))
        there, cost = there[row, count], cost[row, count]
        width = min(max(0, int(there.max(initial=sums.low)) - sums.low + 1), sums.chances.shape[1])
        enough = sums.low + np.arange(width) <= there[:, None]
        states = _States(sums.low, np.where(enough, sums.chances[row, :width], 0.0))
        return _Purchases(np.column_stack([self.counts[row], more[count]]), there, cost, states)

    def rising(self) -> "_Purchases":
        """Those of which no other costs no more and has as great a chance; by cost."""
        import numpy as np

        mine = self.only(np.lexsort((-self.chance, self.cost)))
        return mine.only(mine.chance > np.maximum.accumulate([0.0, *mine.chance])[:-1])

    def unbeaten(self) -> "_Purchases":
        """Those of which no other costs no more, has as many there and leaves whatever comes as likely enough."""
        import numpy as np

        mine = self.only(np.lexsort((-self.there, -self.chance, self.cost)))
        sofar, there = np.cumsum(mine.states.chances, axis=1) + TINY, mine.there
        chance, kept = sofar[:, -1] if len(there) else there, np.zeros(len(there), bool)
        for row in range(len(there)):
            rivals = np.flatnonzero(kept[:row] & (there[:row] >= there[row]) & (chance[:row] >= chance[row] - TINY))
            kept[row] = not (sofar[rivals] >= sofar[row] - TINY).all(axis=1).any()
        return mine.only(kept)


@dataclass(frozen=True)
class _Beyond:
    """What is asked of the other stocks, at the least, where this one is covered with no more than each level."""

    levels: tuple[float, ...]
    costs: "Floats"


class _Shares:
    """What stocks cost at the least together, by how much of the chance may be lost among them.

    The logarithm of the chance that may be lost is cut into steps, and a stock that loses part of one counts as if it
    lost all of it. So of stocks that lose so many steps together, up to one more is counted for each.
    """

    def __init__(self, ladders: Sequence[Ladder], wanted: float) -> None:
        self._step = -log(wanted) / STEPS
        self._count = len(ladders)
        levels = [wanted ** (lost / STEPS) * (1 - EQUAL) for lost in range(STEPS + 1)]
        self.alone = [_least_cost(ladder, levels) for ladder in ladders]

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

    def beyond(self, number: int, wanted: float) -> _Beyond:
        """What is asked beyond one ladder."""
        import numpy as np

        total = self.of(at for at in range(self._count) if at != number)
        least = [0, *LEVELS_OF_STEPS[:-1]]  # lost by this one, at the least, where it is at this level and not better
        levels = tuple(wanted ** (lost / STEPS) * (1 - EQUAL) for lost in LEVELS_OF_STEPS)
        return _Beyond(levels, np.array([total[STEPS - lost + self._count - 1] for lost in least]))


def _least_cost(ladder: Ladder, levels: Sequence[float]) -> "Floats":
    """What it costs at the least to cover this stock with each of these chances; infinite where nothing does."""
    asked: Floats = _rest(ladder, 0, _Purchases.none(), levels)[0]
    return asked


def _frontier(ladder: Ladder, wanted: float, most: float, beyond: "_Beyond") -> tuple["_Purchases", bool]:
    """The purchases for at most so much with at least that chance, of which none is beaten by a cheaper one.

    Those are left out that cost too much with what is asked `beyond` this stock; and whether that is all of them.
    """
    import numpy as np

    found, exact = _Purchases.none(), True
    for at, (law, offer) in enumerate(zip(ladder.laws, ladder.offers, strict=True)):
        upto = ladder.most_missing(at, found.states.most) if offer else 0
        tried = found.followed_by(law, upto, offer, wanted, most - float(beyond.costs.min()))
        bound = tried.cost + (_rest(ladder, at + 1, tried, beyond.levels) + beyond.costs).min(axis=1, initial=INFINITE)
        fine = bound <= most
        if not fine.any():
            return _Purchases.none().only([]), exact
        if at + 1 < len(ladder.laws) and fine.sum() > WIDEST:
            exact, fine = False, fine & (bound <= np.partition(bound, WIDEST)[WIDEST])
        found = tried.only(fine)
        found = found.unbeaten() if at + 1 < len(ladder.laws) else found.rising()
    return found, exact


def _rest(ladder: Ladder, at: int, found: "_Purchases", levels: Sequence[float]) -> "Floats":
    """What is still to be spent from a rung on at the least, for each of these chances; infinite where none does.

    Each rung by itself asks for so many; the later one is bought, the cheaper it is.
    """
    import numpy as np

    there = np.repeat(found.there[:, None], len(levels), axis=1)
    cost, price = np.zeros(there.shape), INFINITE
    for law, offer in zip(ladder.onward[at] if at < len(ladder.laws) else (), ladder.offers[at:], strict=True):
        price = offer[1] if offer else price
        sums = found.states.plus(law)
        sofar = np.cumsum(sums.chances, axis=1)
        short = np.stack([(sofar < level).sum(axis=1) for level in levels], axis=1)
        needed = np.maximum(there, sums.low + short)
        missing = needed > there
        cost[missing] += (needed - there)[missing] * price
        cost[short == sofar.shape[1]] = INFINITE
        there = needed
    return cost


def _combined(ladders: Sequence[Ladder], wanted: float, most: int) -> "_Combined":
    """The purchases of all stocks for at most so much with at least that chance, of which none is beaten; by cost."""
    import numpy as np

    shares, exact = _Shares(ladders, wanted), True
    cost, chance, counts = np.zeros(1), np.ones(1), np.zeros((1, 0), int)
    for at, ladder in enumerate(ladders):
        mine, all_ = _frontier(ladder, wanted, most, shares.beyond(at, wanted))
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
