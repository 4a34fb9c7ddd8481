"""The purchases of one stock that may be part of the answer, found by branch and bound. Pure.

A stock is gone through from its longest length down, with every number to buy of each. What is left out asks for too
much money, since every shorter length by itself and all other stocks still ask for so much at the least; or it is
beaten by a purchase that is as cheap and leaves a case at least as good in every respect. What the shorter lengths ask
for is first taken from the purchase before, which can only ask for less, and then reckoned anew in that order, as long
as it may matter.
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
"""So many purchases are followed from one length to the next; a program with dozens of failures may have more."""
AT_ONCE: Final = 1000
"""Of so many purchases it is reckoned at once what they still ask for."""


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
class Purchases:
    """Purchases down to a rung, a row each: how many on each rung, how many together, what they cost.

    `states` are how many more failed than work, as far as those that are bought were enough; `chance` that they were.
    """

    counts: "Ints"
    there: "Ints"
    cost: "Floats"
    chance: "Floats"
    states: _States

    @classmethod
    def none(cls) -> "Purchases":
        """Nothing is bought yet."""
        import numpy as np

        return cls(np.zeros((1, 0), int), np.zeros(1, int), np.zeros(1), np.ones(1), _States(0, np.ones((1, 1))))

    def only(self, rows: Any) -> "Purchases":
        """Some of them."""
        states = _States(self.states.low, self.states.chances[rows])
        return Purchases(self.counts[rows], self.there[rows], self.cost[rows], self.chance[rows], states)

    def followed_by(self, law: Law, upto: int, offer: Offer | None, wanted: float, most: float) -> "_Branches":
        """Each with none, one, two and more of what is offered on the next rung, until `upto` are there."""
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
        """Those of which no other costs no more, has as many there and leaves whatever comes as likely enough."""
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
    """What may follow purchases down to the next rung, each with its `row` there and how many are bought `more`; `sums`
    are the states of those rows with the next rung.
    """

    before: Purchases
    sums: _States
    row: "Ints"
    more: "Ints"
    there: "Ints"
    cost: "Floats"
    chance: "Floats"

    def purchases(self, at: "Ints") -> Purchases:
        """Some of them, as purchases."""
        import numpy as np

        there, row, low = self.there[at], self.row[at], self.sums.low
        width = min(max(0, int(there.max(initial=low)) - low + 1), self.sums.chances.shape[1])
        enough = low + np.arange(width) <= there[:, None]
        states = _States(low, np.where(enough, self.sums.chances[row, :width], 0.0))
        counts = np.column_stack([self.before.counts[row], self.more[at]])
        return Purchases(counts, there, self.cost[at], self.chance[at], states)

    def rising(self, at: "Ints") -> "Frontier":
        """Some of them without those of which another costs no more and has as great a chance; by cost."""
        import numpy as np

        order = at[np.lexsort((-self.chance[at], self.cost[at]))]
        order = order[self.chance[order] > np.maximum.accumulate([0.0, *self.chance[order]])[:-1]]
        counts = np.column_stack([self.before.counts[self.row[order]], self.more[order]])
        return Frontier(self.cost[order], self.chance[order], counts)


@dataclass(frozen=True)
class Frontier:
    """Purchases of which none is beaten, by cost: what each costs, its chance, how many on each rung."""

    cost: "Floats"
    chance: "Floats"
    counts: "Ints"


@dataclass(frozen=True)
class Beyond:
    """What is asked of the other stocks, at the least, where this one is covered with no more than each level."""

    levels: tuple[float, ...]
    costs: "Floats"

    def least(self, asked: "Floats") -> "Floats":
        """The least that a purchase, which asks for so much with each level, and all others cost together."""
        least: Floats = (asked + self.costs).min(axis=1, initial=INFINITE)
        return least


def least_cost(ladder: Ladder, levels: Sequence[float]) -> "Floats":
    """What it costs at the least to cover this stock with each of these chances; infinite where nothing does."""
    none = Purchases.none()
    least: Floats = _least_costs(ladder, 0, none.there, _needs(ladder, 0, none.states, levels))[0]
    return least


def frontier(ladder: Ladder, wanted: float, most: float, beyond: Beyond) -> tuple[Frontier, bool]:
    """The purchases for at most so much with at least that chance, of which none is beaten by a cheaper one.

    Those are left out that cost too much with what is asked `beyond` this stock; and whether that is all of them.
    """
    import numpy as np

    found, exact, last = Purchases.none(), True, len(ladder.laws) - 1
    result = Frontier(found.cost, found.chance, found.counts)
    needs = _needs(ladder, 0, found.states, beyond.levels)
    for at, (law, offer) in enumerate(zip(ladder.laws, ladder.offers, strict=True)):
        upto = ladder.most_missing(at, found.states.most) if offer else 0
        tried = found.followed_by(law, upto, offer, wanted, most - float(beyond.costs.min()))
        bound = tried.cost + beyond.least(_least_costs(ladder, at + 1, tried.there, needs[tried.row, 1:]))
        order = np.argsort(bound, kind="stable")
        order = order[: np.searchsorted(bound[order], most, side="right")]
        if at == last or not len(order):
            result = tried.rising(order)
            break
        found, needs, bound = _tightest(ladder, at + 1, tried, bound[order], order, most, beyond)
        exact = exact and len(bound) <= WIDEST
        fine = bound <= (most if len(bound) <= WIDEST else np.partition(bound, WIDEST)[WIDEST])
        rows = np.flatnonzero(fine)[found.only(fine).unbeaten()]
        found, needs = found.only(rows), needs[rows]
    return result, exact


def _tightest(
    ladder: Ladder, at: int, tried: "_Branches", bound: "Floats", order: "Ints", most: float, beyond: Beyond
) -> tuple[Purchases, "Ints", "Floats"]:
    """Those of `order` that may be part of the answer, what they need from a rung on, and their bounds.

    They come by a `bound` that is no greater than their own. Once more are found than will be followed, and what is
    left can only be worse than those, it is not looked at.
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
        asked = part.cost + beyond.least(_least_costs(ladder, at, part.there, needed))
        fine = asked <= most
        rows, needs, own = [*rows, some[fine]], [*needs, needed[fine]], [*own, asked[fine]]
    return tried.purchases(np.concatenate(rows)), np.concatenate(needs), np.concatenate(own)


def _needs(ladder: Ladder, at: int, states: _States, levels: Sequence[float]) -> "Ints":
    """How many have to be there by each rung from one on, so that the rung by itself is covered with each chance (rows,
    rungs, levels); `NEVER` where no number does.
    """
    import numpy as np

    laws = ladder.onward[at] if at < len(ladder.laws) else []
    needs = np.empty((len(states.chances), len(laws), len(levels)), int)
    for rung, law in enumerate(laws):
        sums = states.plus(law)
        sofar = np.cumsum(sums.chances, axis=1)
        short = np.stack([(sofar < level).sum(axis=1) for level in levels], axis=1)
        needs[:, rung] = np.where(short == sofar.shape[1], NEVER, sums.low + short)
    return needs


def _least_costs(ladder: Ladder, at: int, there: "Ints", needs: "Ints") -> "Floats":
    """What is still to be spent from a rung on at the least where so many are there, for each of these chances (rows,
    levels); infinite where nothing does.

    Each rung by itself asks for so many; the later one is bought, the cheaper it is.
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
