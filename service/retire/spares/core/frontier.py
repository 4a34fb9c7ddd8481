"""The purchases of one stock that may be part of the optimum, by branch and bound. Pure.

The search goes through a stock from its longest length down, with every number to buy of each. A branch is cut if its
lower bound is above the budget: its cost, plus the least cost of covering each shorter length by itself and all other
stocks. It is also cut if it is dominated: another purchase is as cheap and at least as good in every respect. The bound
for the shorter lengths is first inherited from the parent, for which it is no greater, and then computed again in that
order, as long as it can matter.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from service.retire.spares.core.coverage import TINY, Ladder, Law, Offer

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int_]

INFINITE: Final = float("inf")
NEVER: Final = 2**40
"""More than can be bought."""
WIDEST: Final = 1000
"""The most purchases that are kept from one length to the next; a program with dozens of failures may have more."""
AT_ONCE: Final = 1000
"""Purchases whose bounds are computed at once."""


@dataclass(frozen=True)
class _States:
    """For each purchase, a row: the chances of the whole numbers `low`, `low` + 1, and so on."""

    low: int
    chances: "Floats"

    @property
    def most(self) -> int:
        """The largest possible number."""
        return self.low + int(self.chances.shape[1]) - 1

    def plus(self, law: Law) -> "_States":
        """The distributions of the sums with another, independent number."""
        import numpy as np

        width, length = self.chances.shape[1], len(law.chances)
        wide = width + length - 1
        rows = np.zeros((width, wide + 1))
        rows[:, :length] = law.chances
        shifted = rows.ravel()[: width * wide].reshape(width, wide)  # each row is one to the right of that before
        return _States(self.low + law.low, self.chances @ shifted)


@dataclass(frozen=True)
class Purchases:
    """Purchases down to a rung, a row each: `counts` for each rung, how many in all are `there`, and their cost.

    `states` are the distributions of failures minus working spares, restricted to outcomes for which the purchase is
    enough so far; `chance` is the probability of these.
    """

    counts: "Ints"
    there: "Ints"
    cost: "Floats"
    chance: "Floats"
    states: _States

    @classmethod
    def none(cls) -> "Purchases":
        """The purchase of nothing, before the first rung."""
        import numpy as np

        return cls(np.zeros((1, 0), int), np.zeros(1, int), np.zeros(1), np.ones(1), _States(0, np.ones((1, 1))))

    def only(self, rows: Any) -> "Purchases":
        """The purchases of these rows."""
        states = _States(self.states.low, self.states.chances[rows])
        return Purchases(self.counts[rows], self.there[rows], self.cost[rows], self.chance[rows], states)

    def followed_by(self, law: Law, upto: int, offer: Offer | None, wanted: float, most: float) -> "_Branches":
        """Each purchase with none, one, two and more of the offer of the next rung, until `upto` are there.

        Left out are those with a chance below `wanted` or a cost above `most`.
        """
        import numpy as np

        sums = self.states.plus(law)
        more = np.arange(max(0, upto - int(self.there.min())) + 1 if offer else 1)
        there = self.there[:, None] + more
        cost = self.cost[:, None] + more * (offer[1] if offer else 0)
        sofar = np.concatenate([np.zeros((len(there), 1)), np.cumsum(sums.chances, axis=1)], axis=1)
        chance = np.take_along_axis(sofar, np.clip(there - sums.low + 1, 0, sofar.shape[1] - 1), axis=1)
        row, count = np.nonzero((chance >= wanted) & (cost <= most))
        return _Branches(self, sums, row, more[count], there[row, count], cost[row, count], chance[row, count])

    def unbeaten(self) -> "Ints":
        """The rows that no other dominates: one that costs no more, has as many there, and is nowhere less likely."""
        import numpy as np

        order = np.lexsort((-self.there, -self.chance, self.cost))
        mine = self.only(order)
        sofar, there = np.cumsum(mine.states.chances, axis=1) + TINY, mine.there
        chance, kept = sofar[:, -1] if len(there) else there, np.zeros(len(there), bool)
        for row in range(len(there)):
            rivals = np.flatnonzero(kept[:row] & (there[:row] >= there[row]) & (chance[:row] >= chance[row] - TINY))
            kept[row] = not (sofar[rivals] >= sofar[row] - TINY).all(axis=1).any()
        unbeaten: Ints = order[kept]
        return unbeaten


@dataclass(frozen=True)
class _Branches:
    """The children of purchases at the next rung: the `row` of the parent in `before`, and how many `more` are bought.

    `sums` are the states of the parents with the next rung added; the other fields are as in `Purchases`.
    """

    before: Purchases
    sums: _States
    row: "Ints"
    more: "Ints"
    there: "Ints"
    cost: "Floats"
    chance: "Floats"

    def purchases(self, at: "Ints") -> Purchases:
        """The children of these rows, as purchases."""
        import numpy as np

        there, row, low = self.there[at], self.row[at], self.sums.low
        width = min(max(0, int(there.max(initial=low)) - low + 1), self.sums.chances.shape[1])
        enough = low + np.arange(width) <= there[:, None]
        states = _States(low, np.where(enough, self.sums.chances[row, :width], 0.0))
        counts = np.column_stack([self.before.counts[row], self.more[at]])
        return Purchases(counts, there, self.cost[at], self.chance[at], states)

    def rising(self, at: "Ints") -> "Frontier":
        """The Pareto frontier of these rows in cost and chance, by cost."""
        import numpy as np

        order = at[np.lexsort((-self.chance[at], self.cost[at]))]
        order = order[self.chance[order] > np.maximum.accumulate([0.0, *self.chance[order]])[:-1]]
        counts = np.column_stack([self.before.counts[self.row[order]], self.more[order]])
        return Frontier(self.cost[order], self.chance[order], counts)


@dataclass(frozen=True)
class Frontier:
    """The Pareto frontier, by cost: the cost of each purchase, its chance, and its counts for each rung."""

    cost: "Floats"
    chance: "Floats"
    counts: "Ints"


@dataclass(frozen=True)
class Beyond:
    """The least cost of the other stocks if this one is covered with a chance of at most each of `levels`."""

    levels: tuple[float, ...]
    costs: "Floats"

    def least(self, needed: "Floats") -> "Floats":
        """The least cost of all stocks (rows,), where this one still costs `needed` for each level (rows, levels)."""
        least: Floats = (needed + self.costs).min(axis=1, initial=INFINITE)
        return least


def least_cost(ladder: Ladder, levels: Sequence[float]) -> "Floats":
    """A lower bound of the cost of covering this stock with each of these chances; infinite if nothing does."""
    none = Purchases.none()
    least: Floats = _least_costs(ladder, 0, none.there, _needs(ladder, 0, none.states, levels))[0]
    return least


def frontier(ladder: Ladder, wanted: float, most: float, beyond: Beyond) -> tuple[Frontier, bool]:
    """The Pareto frontier of purchases that cost at most `most` with a chance of at least `wanted`.

    Purchases that cost too much together with the least cost `beyond` this stock are left out. The second value is
    whether the frontier is complete, rather than cut at `WIDEST`.
    """
    import numpy as np

    kept, exact, last = Purchases.none(), True, len(ladder.laws) - 1
    result = Frontier(kept.cost, kept.chance, kept.counts)
    needs = _needs(ladder, 0, kept.states, beyond.levels)
    for at, (law, offer) in enumerate(zip(ladder.laws, ladder.offers, strict=True)):
        upto = ladder.most_missing(at, kept.states.most) if offer else 0
        tried = kept.followed_by(law, upto, offer, wanted, most - float(beyond.costs.min()))
        bound = tried.cost + beyond.least(_least_costs(ladder, at + 1, tried.there, needs[tried.row, 1:]))
        order = np.argsort(bound, kind="stable")
        order = order[: np.searchsorted(bound[order], most, side="right")]
        if at == last or not len(order):
            result = tried.rising(order)
            break
        kept, needs, bound = _tightest(ladder, at + 1, tried, bound[order], order, most, beyond)
        exact = exact and len(bound) <= WIDEST
        fine = bound <= (most if len(bound) <= WIDEST else np.partition(bound, WIDEST)[WIDEST])
        rows = np.flatnonzero(fine)[kept.only(fine).unbeaten()]
        kept, needs = kept.only(rows), needs[rows]
    return result, exact


def _tightest(
    ladder: Ladder, at: int, tried: "_Branches", bound: "Floats", order: "Ints", most: float, beyond: Beyond
) -> tuple[Purchases, "Ints", "Floats"]:
    """The children of `order` that may be part of the optimum, their needs from rung `at` on, and their bounds.

    They are sorted by `bound`, which is no greater than their own. Once there are more than `WIDEST`, and the rest can
    only be worse, the rest is skipped.
    """
    import numpy as np

    rows, own = [order[:0]], [bound[:0]]
    needs: list[Ints] = []
    for begin in range(0, len(order), AT_ONCE):
        sofar = np.concatenate(own)
        if len(sofar) > WIDEST and bound[begin] > np.partition(sofar, WIDEST)[WIDEST]:
            break
        some = order[begin : begin + AT_ONCE]
        part = tried.purchases(some)
        needed = _needs(ladder, at, part.states, beyond.levels)
        least = part.cost + beyond.least(_least_costs(ladder, at, part.there, needed))
        fine = least <= most
        rows, needs, own = [*rows, some[fine]], [*needs, needed[fine]], [*own, least[fine]]
    return tried.purchases(np.concatenate(rows)), np.concatenate(needs), np.concatenate(own)


def _needs(ladder: Ladder, at: int, states: _States, levels: Sequence[float]) -> "Ints":
    """How many have to be there by each rung from `at` on to cover that rung by itself with each chance (rows, rungs,
    levels); `NEVER` if no number does.
    """
    import numpy as np

    laws = ladder.onward[at] if at < len(ladder.laws) else []
    needs = np.empty((len(states.chances), len(laws), len(levels)), int)
    for rung, law in enumerate(laws):
        sums = states.plus(law)
        sofar = np.cumsum(sums.chances, axis=1)
        short = (sofar[:, :, None] < levels).sum(axis=1)
        needs[:, rung] = np.where(short == sofar.shape[1], NEVER, sums.low + short)
    return needs


def _least_costs(ladder: Ladder, at: int, there: "Ints", needs: "Ints") -> "Floats":
    """The least cost from rung `at` on if so many are there already, for each level (rows, levels); infinite if nothing
    covers it.

    It is a lower bound: each rung is covered by itself, with pieces bought as late as possible, which are the cheapest.
    """
    import numpy as np

    there = np.repeat(there[:, None], needs.shape[2], axis=1)
    cost, price = np.zeros(there.shape), INFINITE
    for rung, offer in enumerate(ladder.offers[at:]):
        price = offer[1] if offer else price
        needed = np.maximum(there, needs[:, rung])
        missing = needed > there
        cost[missing] += (needed - there)[missing] * price
        cost[needs[:, rung] == NEVER] = INFINITE
        there = needed
    return cost
