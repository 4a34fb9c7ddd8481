"""Moving single conductors to where the readings want them.

Any exchange of landings can be built from swaps of two, each of which brings one conductor where it is worth more;
a cycle of k conductors takes k - 1 of them, which is its cost as a miswire. So the search takes the first conductor
that is not well placed, tries each position that would suit it, and the choice to leave it, and goes on. A branch
is left once it cannot match the best cost known.
"""

from dataclasses import dataclass

from service.diagnosis.search.case import NOWHERE, UNPROBED, NumberedCable
from service.diagnosis.search.plan import Landing
from service.diagnosis.search.repairs import prices_of_mending

MENDING_EFFORT = 5
"""Pricing one choice of shorts takes about as long as so many steps of the search."""


@dataclass(slots=True)
class Effort:
    """How many more steps a search may take before it settles for the best that it has."""

    left: int

    @property
    def spent(self) -> bool:
        """Whether the search must come to an end."""
        return self.left < 0


@dataclass(frozen=True, slots=True)
class Settled:
    """A landing reached by swaps of two, and what these and the opens and shorts that it leaves cost."""

    landing: Landing
    cost: int


class Mover:
    """Settles landings of one case, and remembers what each has cost to mend.

    A swap of two costs 1: one that gains 2 or more pays. With a `least_gain` of 1 those are tried too that cost no
    more than the open or join they save, with 0 any that might make room.
    """

    def __init__(self, case: NumberedCable, effort: Effort, least_gain: int) -> None:
        self.case = case
        self.effort = effort
        self.least_gain = least_gain
        self._prices: dict[tuple[tuple[int, int], ...], int | None] = {}

    def settle(self, landing: Landing, at_most: int | None) -> list[Settled]:
        """Every way found to settle from `landing` at the least cost, if that is within `at_most`."""
        search = _Search(self, at_most)
        search.visit(landing, 0, frozenset())
        return search.best

    def price(self, landing: Landing) -> int | None:
        """What the opens and shorts cost that this landing leaves; None if none explain the readings."""
        wires = self.case.wires(landing)
        if wires not in self._prices:
            prices = prices_of_mending(self.case, wires)
            self.effort.left -= MENDING_EFFORT * len(prices)
            self._prices[wires] = min((price for price in prices if price is not None), default=None)
        return self._prices[wires]


class _Search:
    def __init__(self, mover: Mover, at_most: int | None) -> None:
        self._mover = mover
        self._case = mover.case
        self._seen: dict[tuple[Landing, frozenset[int]], int] = {}
        self._lowest = at_most
        self.best: list[Settled] = []

    def visit(self, landing: Landing, moves: int, left: frozenset[int]) -> None:
        """Settle the first conductor that could be better placed and is not `left` where it is."""
        effort = self._mover.effort
        effort.left -= 1
        if self._seen.get((landing, left), moves + 1) <= moves:
            return
        self._seen[landing, left] = moves
        restless = self._case.restless(landing)
        movable = [wire for wire in restless if wire not in left]
        if self._hopeless(landing, moves, restless, len(movable)):
            return
        for wire in movable:
            options = self._options(landing, wire)
            if options:
                break
            left |= {wire}
        else:
            self._arrive(landing, moves, restless)
            return
        for _, moved in options:
            self.visit(moved, moves + 1, left)
            if effort.spent:
                return
        if self._may_stay(landing, wire, options):
            self.visit(landing, moves, left | {wire})

    def _arrive(self, landing: Landing, moves: int, restless: list[int]) -> None:
        if self._hopeless(landing, moves, restless, 0):
            return
        price = self._mover.price(landing)
        if price is None:
            return
        cost = moves + price
        if self._lowest is None or cost < self._lowest:
            self._lowest = cost
            self.best = []
        if cost == self._lowest and all(known.landing != landing for known in self.best):
            self.best.append(Settled(landing, cost))

    def _hopeless(self, landing: Landing, moves: int, restless: list[int], movable: int) -> bool:
        """Whether the best cost known is out of reach: a move costs 1 and betters two conductors by 2 at most.

        As many moves as there are conductors are never needed.
        """
        if self._lowest is None or moves >= len(landing):
            return moves >= len(landing)
        least = moves + self._case.estimate(landing) - self._case.double_joins(restless)
        return least - movable * 3 // 2 > self._lowest

    def _options(self, landing: Landing, wire: int) -> list[tuple[int, Landing]]:
        """(what is gained, the landing) for each position that suits the conductor better; the best gain first."""
        case = self._case
        now = landing[wire]
        here = case.worth(wire, now)
        wanted = list(case.positions.get(case.label[case.a[wire]], ()))
        if here == 0:
            wanted += case.positions.get(UNPROBED, ()) if self._mover.least_gain else landing
        found = []
        for position in wanted:
            if position == now:
                continue
            holder = landing.index(position)
            if case.a[holder] == NOWHERE == case.b[now]:
                continue  # there is no wire to put there
            gain = case.worth(wire, position) + case.worth(holder, now) - here - case.worth(holder, position)
            if gain >= self._mover.least_gain:
                moved = list(landing)
                moved[wire], moved[holder] = position, now
                found.append((gain, tuple(moved)))
        found.sort(key=lambda option: -option[0])
        return found

    def _may_stay(self, landing: Landing, wire: int, options: list[tuple[int, Landing]]) -> bool:
        """Whether leaving the conductor where it is could cost no more than moving it; always, if any tie counts.

        With one position to go to, wanted by no other, a move saves an open and a join for the price of one; unless
        the contact is shared, so that it may be joined without the conductor.
        """
        if self._mover.least_gain < 2:
            return True
        case = self._case
        contact = case.a[wire]
        label = case.label[contact]
        if len(case.starts[label]) > 1 or len(case.positions.get(label, ())) > 1:
            return True
        if case.plan.tangled and (contact in case.plan.hubs or case.worth(wire, landing[wire])):
            return True
        return options[0][0] < 2
