"""Crossed lanes and crossed pairs: exchanges of several conductors at the price of one.

Each crossing is tried, in the order in which faults are applied, on top of those already made, and kept if what
remains gets cheaper by at least its price: a product of exchanges is as short as can be only if each step brings it
nearer. What remains is settled conductor by conductor.
"""

from dataclasses import dataclass

from service.diagnosis.search.case import NumberedCable
from service.diagnosis.search.permutations import Effort, Mover, Settled
from service.diagnosis.search.plan import Crossing, Landing


@dataclass(frozen=True, slots=True)
class CrossingCandidate:
    """Crossings, the landing that they give, and how it is settled."""

    case: NumberedCable
    crossings: tuple[Crossing, ...]
    crossed: Landing
    settled: Settled

    @property
    def cost(self) -> int:
        """The whole explanation's."""
        return len(self.crossings) + self.settled.cost


class Crosser:
    """Collects the candidates of least cost of one case, if that is at most `known`, the best of other cases."""

    def __init__(self, case: NumberedCable, effort: Effort, least_gain: int, known: int | None = None) -> None:
        self._case = case
        self._effort = effort
        self._mover = Mover(case, effort, least_gain)
        self._floor = case.floor()
        self._largest = max((len(crossing.swaps) for crossing in case.plan.crossings), default=1)
        self._known = known
        self.candidates: list[CrossingCandidate] = []

    def search(self) -> list[CrossingCandidate]:
        """Every candidate found at the least cost."""
        straight = self._case.straight
        self._visit(0, straight, (), self._mover.settle(straight, self._most(0)))
        return self.candidates

    def _visit(self, start: int, landing: Landing, crossings: tuple[Crossing, ...], settled: list[Settled]) -> None:
        for one in settled:
            self._keep(CrossingCandidate(self._case, crossings, landing, one))
        if not settled:
            return
        nearer = settled[0].cost - 1
        for number in range(start, len(self._case.plan.crossings)):
            crossing = self._case.plan.crossings[number]
            if self._effort.spent or not self._could_gain(landing, crossing):
                continue
            crossed = crossing.applied(landing)
            reach = self._most(len(crossings) + 1)
            remaining = self._mover.settle(crossed, nearer if reach is None else min(nearer, reach))
            self._visit(number + 1, crossed, (*crossings, crossing), remaining)

    def _most(self, made: int) -> int | None:
        """What may remain after so many crossings if the best cost known is to be matched.

        Each further crossing lowers what remains by the conductors that it exchanges at most, never below the floor.
        """
        if self._known is None:
            return None
        return self._floor + self._largest * (self._known - self._floor - made)

    def _keep(self, candidate: CrossingCandidate) -> None:
        if self._known is not None and candidate.cost > self._known:
            return
        if self._known is None or candidate.cost < self._known:
            self._known = candidate.cost
            self.candidates = []
        self.candidates.append(candidate)

    def _could_gain(self, landing: Landing, crossing: Crossing) -> bool:
        """Whether some of the crossing's exchanges bring conductors nearer, and no more take them away.

        Where contacts may be joined in two ways, one that is nowhere nearer may save a join that was made twice.
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
