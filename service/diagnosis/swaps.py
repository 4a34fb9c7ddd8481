"""The search for swaps: single exchanges of two conductors, and crossings of whole pairs and lanes.

Single swaps. Any landing can be reached by swaps of two, each of which brings one conductor where it is worth more;
a cycle of k conductors takes k - 1 of them, which is its cost as a miswire. So the search takes the first conductor
that is misplaced, tries each position that would suit it, tries to leave it where it is, and goes on: depth first,
branch and bound. A branch is left once it cannot match the best cost known. What remains is left to opens and shorts.

Crossings. One crossing exchanges several conductors at the cost of one. Each is tried, in the order in which faults
are applied, on top of those already made, and kept if what remains becomes cheaper by at least its cost: a product of
exchanges can only be as short as possible if each step brings it nearer. What remains is left to single swaps.

Without a bound the search is exponential in the number of misplaced conductors; `Effort` limits it to a fixed number of
steps, each linear in the conductors.
"""

from dataclasses import dataclass
from typing import Final

from service.diagnosis.miswires import NOWHERE, UNPROBED, NumberedCable
from service.diagnosis.plan import Crossing, Landing
from service.diagnosis.repairs import repair_costs

REPAIR_EFFORT: Final = 5
"""Costing one choice of shorts takes about as long as so many steps of the search."""


@dataclass(slots=True)
class Effort:
    """How many more steps a search may take before it settles for the best that it has."""

    left: int

    @property
    def spent(self) -> bool:
        """Whether the search must come to an end."""
        return self.left < 0


@dataclass(frozen=True, slots=True)
class SwapResult:
    """A landing reached by swaps of two, and the cost of the swaps and of the opens and shorts that it leaves."""

    landing: Landing
    cost: int


class SingleSwaps:
    """Searches for single swaps in one case, and remembers what each landing cost to repair.

    A swap of two costs 1, so one that gains 2 or more pays. A `least_gain` of 1 also tries swaps that cost as much as
    the open or the join that they save, a `least_gain` of 0 any swap that might make room for another.
    """

    def __init__(self, case: NumberedCable, effort: Effort, least_gain: int) -> None:
        self.case = case
        self.effort = effort
        self.least_gain = least_gain
        self._costs: dict[tuple[tuple[int, int], ...], int | None] = {}

    def search(self, landing: Landing, at_most: int | None) -> list[SwapResult]:
        """Every result found from `landing` at the least cost, if that is within `at_most`."""
        search = _SwapSearch(self, at_most)
        search.visit(landing, 0, frozenset())
        return search.best

    def repair_cost(self, landing: Landing) -> int | None:
        """The cost of the opens and shorts that this landing leaves; None if none explain the readings."""
        wires = self.case.wires(landing)
        if wires not in self._costs:
            costs = repair_costs(self.case, wires)
            self.effort.left -= REPAIR_EFFORT * len(costs)
            self._costs[wires] = min((cost for cost in costs if cost is not None), default=None)
        return self._costs[wires]


class _SwapSearch:
    def __init__(self, swaps: SingleSwaps, at_most: int | None) -> None:
        self._swaps = swaps
        self._case = swaps.case
        self._seen: dict[tuple[Landing, frozenset[int]], int] = {}
        self._lowest = at_most
        self.best: list[SwapResult] = []

    def visit(self, landing: Landing, moves: int, left: frozenset[int]) -> None:
        """Try every place for the first misplaced conductor that is not `left` where it is, and go on from there."""
        effort = self._swaps.effort
        effort.left -= 1
        if self._seen.get((landing, left), moves + 1) <= moves:
            return
        self._seen[landing, left] = moves
        misplaced = self._case.misplaced(landing)
        movable = [wire for wire in misplaced if wire not in left]
        if self._cannot_match(landing, moves, misplaced, len(movable)):
            return
        for wire in movable:
            options = self._better_positions(landing, wire)
            if options:
                break
            left |= {wire}
        else:
            self._record(landing, moves, misplaced)
            return
        for _, moved in options:
            self.visit(moved, moves + 1, left)
            if effort.spent:
                return
        if self._may_stay(landing, wire, options):
            self.visit(landing, moves, left | {wire})

    def _record(self, landing: Landing, moves: int, misplaced: list[int]) -> None:
        if self._cannot_match(landing, moves, misplaced, 0):
            return
        repairs = self._swaps.repair_cost(landing)
        if repairs is None:
            return
        cost = moves + repairs
        if self._lowest is None or cost < self._lowest:
            self._lowest = cost
            self.best = []
        if cost == self._lowest and all(known.landing != landing for known in self.best):
            self.best.append(SwapResult(landing, cost))

    def _cannot_match(self, landing: Landing, moves: int, misplaced: list[int], movable: int) -> bool:
        """Whether the best cost known is out of reach: a swap costs 1 and makes two conductors better by 2 at most.

        As many swaps as there are conductors are never needed.
        """
        if self._lowest is None or moves >= len(landing):
            return moves >= len(landing)
        least = moves + self._case.estimate(landing) - self._case.double_joins(misplaced)
        return least - movable * 3 // 2 > self._lowest

    def _better_positions(self, landing: Landing, wire: int) -> list[tuple[int, Landing]]:
        """The gain and the landing for each position that suits the conductor better; the greatest gain first."""
        case = self._case
        now = landing[wire]
        here = case.worth(wire, now)
        wanted = list(case.positions.get(case.label[case.a[wire]], ()))
        if here == 0:
            wanted += case.positions.get(UNPROBED, ()) if self._swaps.least_gain else landing
        better = []
        for position in wanted:
            if position == now:
                continue
            holder = landing.index(position)
            if case.a[holder] == NOWHERE == case.b[now]:
                continue  # there is no wire to put there
            gain = case.worth(wire, position) + case.worth(holder, now) - here - case.worth(holder, position)
            if gain >= self._swaps.least_gain:
                moved = list(landing)
                moved[wire], moved[holder] = position, now
                better.append((gain, tuple(moved)))
        better.sort(key=lambda option: -option[0])
        return better

    def _may_stay(self, landing: Landing, wire: int, options: list[tuple[int, Landing]]) -> bool:
        """Whether leaving the conductor where it is could cost no more than moving it; always, if any tie counts.

        If it has one position to go to, which no other wants, a swap saves an open and a join at the cost of one;
        unless the contact is shared, so that it may be joined without the conductor.
        """
        if self._swaps.least_gain < 2:
            return True
        case = self._case
        contact = case.a[wire]
        label = case.label[contact]
        if len(case.starts[label]) > 1 or len(case.positions.get(label, ())) > 1:
            return True
        if case.plan.tangled and (contact in case.plan.junctions or case.worth(wire, landing[wire])):
            return True
        return options[0][0] < 2


@dataclass(frozen=True, slots=True)
class Candidate:
    """Crossings, the landing that they give, and the single swaps and repairs that complete the explanation."""

    case: NumberedCable
    crossings: tuple[Crossing, ...]
    crossed: Landing
    swapped: SwapResult

    @property
    def cost(self) -> int:
        """The cost of the whole explanation; every crossing costs 1, whether of pairs or of lanes."""
        return len(self.crossings) + self.swapped.cost


class CrossingSearch:
    """Collects the candidates of least cost in one case, if that is at most `known`, the least cost of other cases."""

    def __init__(self, case: NumberedCable, effort: Effort, least_gain: int, known: int | None = None) -> None:
        self._case = case
        self._effort = effort
        self._single = SingleSwaps(case, effort, least_gain)
        self._floor = case.lower_bound
        self._largest = max((len(crossing.swaps) for crossing in case.plan.crossings), default=1)
        self._known = known
        self.candidates: list[Candidate] = []

    def search(self) -> list[Candidate]:
        """Every candidate found at the least cost."""
        as_wired = self._case.as_wired
        self._visit(0, as_wired, (), self._single.search(as_wired, self._most_remaining(0)))
        return self.candidates

    def _visit(self, start: int, landing: Landing, crossings: tuple[Crossing, ...], results: list[SwapResult]) -> None:
        for one in results:
            self._record(Candidate(self._case, crossings, landing, one))
        if not results:
            return
        nearer = results[0].cost - 1
        for number in range(start, len(self._case.plan.crossings)):
            crossing = self._case.plan.crossings[number]
            if self._effort.spent or not self._could_gain(landing, crossing):
                continue
            crossed = crossing.applied(landing)
            reach = self._most_remaining(len(crossings) + 1)
            remaining = self._single.search(crossed, nearer if reach is None else min(nearer, reach))
            self._visit(number + 1, crossed, (*crossings, crossing), remaining)

    def _most_remaining(self, made: int) -> int | None:
        """The most cost that may remain after so many crossings if the best cost known is to be matched.

        Each further crossing lowers it by the conductors that it exchanges at most, never below the lower bound.
        """
        if self._known is None:
            return None
        return self._floor + self._largest * (self._known - self._floor - made)

    def _record(self, candidate: Candidate) -> None:
        if self._known is not None and candidate.cost > self._known:
            return
        if self._known is None or candidate.cost < self._known:
            self._known = candidate.cost
            self.candidates = []
        self.candidates.append(candidate)

    def _could_gain(self, landing: Landing, crossing: Crossing) -> bool:
        """Whether some of the exchanges of the crossing bring conductors nearer, and at most as many take them away.

        Where contacts may be joined in two ways, a crossing that brings none nearer may save a join made twice.
        """
        drifts = [self._drift(landing, one, other) for one, other in crossing.swaps]
        return (1 in drifts or self._case.plan.tangled) and sum(drifts) >= 0

    def _drift(self, landing: Landing, one: int, other: int) -> int:
        case = self._case
        was = case.worth(one, landing[one]) + case.worth(other, landing[other])
        becomes = case.worth(one, landing[other]) + case.worth(other, landing[one])
        if becomes > was or (self._unsure(one, landing) and self._unsure(other, landing)):
            return 1
        return 0 if becomes == was else -1

    def _unsure(self, wire: int, landing: Landing) -> bool:
        return self._case.worth(wire, landing[wire]) < 2
