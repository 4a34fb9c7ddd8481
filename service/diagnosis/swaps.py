"""The search for swaps: single exchanges of two conductors, and crossings of whole pairs and lanes.

Single swaps. Any permutation can be reached by swaps of two, each of which brings one conductor where it is worth more;
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
from service.diagnosis.plan import Crossing, Permutation
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
    """A permutation reached by swaps of two, and the cost of the swaps and of the opens and shorts that it leaves."""

    permutation: Permutation
    cost: int


class SingleSwaps:
    """Searches for single swaps in one case, and remembers what each permutation cost to repair.

    A swap of two costs 1, so one that gains 2 or more pays. A `least_gain` of 1 also tries swaps that cost as much as
    the open or the join that they save, a `least_gain` of 0 any swap that might make room for another.
    """

    def __init__(self, case: NumberedCable, effort: Effort, least_gain: int) -> None:
        self.case = case
        self.effort = effort
        self.least_gain = least_gain
        self._costs: dict[tuple[tuple[int, int], ...], int | None] = {}

    def search(self, permutation: Permutation, at_most: int | None) -> list[SwapResult]:
        """Every result found from `permutation` at the least cost, if that is within `at_most`."""
        search = _SwapSearch(self, at_most)
        search.visit(permutation, 0, frozenset())
        return search.best

    def repair_cost(self, permutation: Permutation) -> int | None:
        """The cost of the opens and shorts that this permutation leaves; None if none explain the readings."""
        wires = self.case.wires(permutation)
        if wires not in self._costs:
            costs = repair_costs(self.case, wires)
            self.effort.left -= REPAIR_EFFORT * len(costs)
            self._costs[wires] = min((cost for cost in costs if cost is not None), default=None)
        return self._costs[wires]


class _SwapSearch:
    def __init__(self, swaps: SingleSwaps, at_most: int | None) -> None:
        self._swaps = swaps
        self._case = swaps.case
        self._seen: dict[tuple[Permutation, frozenset[int]], int] = {}
        self._lowest = at_most
        self.best: list[SwapResult] = []

    def visit(self, permutation: Permutation, moves: int, left: frozenset[int]) -> None:
        """Try every place for the first misplaced conductor that is not `left` where it is, and go on from there."""
        effort = self._swaps.effort
        effort.left -= 1
        if self._seen.get((permutation, left), moves + 1) <= moves:
            return
        self._seen[permutation, left] = moves
        misplaced = self._case.misplaced(permutation)
        movable = [wire for wire in misplaced if wire not in left]
        if self._cannot_match(permutation, moves, misplaced, len(movable)):
            return
        for wire in movable:
            options = self._better_positions(permutation, wire)
            if options:
                break
            left |= {wire}
        else:
            self._record(permutation, moves, misplaced)
            return
        for _, moved in options:
            self.visit(moved, moves + 1, left)
            if effort.spent:
                return
        if self._may_stay(permutation, wire, options):
            self.visit(permutation, moves, left | {wire})

    def _record(self, permutation: Permutation, moves: int, misplaced: list[int]) -> None:
        if self._cannot_match(permutation, moves, misplaced, 0):
            return
        repairs = self._swaps.repair_cost(permutation)
        if repairs is None:
            return
        cost = moves + repairs
        if self._lowest is None or cost < self._lowest:
            self._lowest = cost
            self.best = []
        if cost == self._lowest and all(known.permutation != permutation for known in self.best):
            self.best.append(SwapResult(permutation, cost))

    def _cannot_match(self, permutation: Permutation, moves: int, misplaced: list[int], movable: int) -> bool:
        """Whether the best cost known is out of reach: a swap costs 1 and makes two conductors better by 2 at most.

        As many swaps as there are conductors are never needed.
        """
        if self._lowest is None or moves >= len(permutation):
            return moves >= len(permutation)
        least = moves + self._case.estimate(permutation) - self._case.double_joins(misplaced)
        return least - movable * 3 // 2 > self._lowest

    def _better_positions(self, permutation: Permutation, wire: int) -> list[tuple[int, Permutation]]:
        """The gain and the permutation for each position that suits the conductor better; the greatest gain first."""
        case = self._case
        now = permutation[wire]
        here = case.worth(wire, now)
        wanted = list(case.positions.get(case.label[case.a[wire]], ()))
        if here == 0:
            wanted += case.positions.get(UNPROBED, ()) if self._swaps.least_gain else permutation
        better = []
        for position in wanted:
            if position == now:
                continue
            holder = permutation.index(position)
            if case.a[holder] == NOWHERE == case.b[now]:
                continue  # there is no wire to put there
            gain = case.worth(wire, position) + case.worth(holder, now) - here - case.worth(holder, position)
            if gain >= self._swaps.least_gain:
                moved = list(permutation)
                moved[wire], moved[holder] = position, now
                better.append((gain, tuple(moved)))
        better.sort(key=lambda option: -option[0])
        return better

    def _may_stay(self, permutation: Permutation, wire: int, options: list[tuple[int, Permutation]]) -> bool:
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
        if case.plan.tangled and (contact in case.plan.junctions or case.worth(wire, permutation[wire])):
            return True
        return options[0][0] < 2


@dataclass(frozen=True, slots=True)
class Candidate:
    """Crossings, the permutation that they give, and the single swaps and repairs that complete the explanation."""

    case: NumberedCable
    crossings: tuple[Crossing, ...]
    crossed: Permutation
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

    def _visit(
        self, start: int, permutation: Permutation, crossings: tuple[Crossing, ...], results: list[SwapResult]
    ) -> None:
        for one in results:
            self._record(Candidate(self._case, crossings, permutation, one))
        if not results:
            return
        nearer = results[0].cost - 1
        for number in range(start, len(self._case.plan.crossings)):
            crossing = self._case.plan.crossings[number]
            if self._effort.spent or not self._could_gain(permutation, crossing):
                continue
            crossed = crossing.applied(permutation)
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

    def _could_gain(self, permutation: Permutation, crossing: Crossing) -> bool:
        """Whether some of the exchanges of the crossing bring conductors nearer, and at most as many take them away.

        Where contacts may be joined in two ways, a crossing that brings none nearer may save a join made twice.
        """
        worth = self._case.worth
        nearer = farther = 0
        for one, other in crossing.swaps:
            here, there = permutation[one], permutation[other]
            worth_of_one, worth_of_other = worth(one, here), worth(other, there)
            gain = worth(one, there) + worth(other, here) - worth_of_one - worth_of_other
            if gain > 0 or (worth_of_one < 2 and worth_of_other < 2):
                nearer += 1
            elif gain < 0:
                farther += 1
        return (nearer > 0 or self._case.plan.tangled) and nearer >= farther
