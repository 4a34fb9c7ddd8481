"""Other landings of the same cost: the search for the least cost need not have passed the plainest of them.

Exchanging what two conductors have, where one of them is out of place, often trades an open or a short for a swap,
or two swaps for one, at the same cost. So from each candidate its neighbors are costed, and theirs in turn:
breadth first, each landing once. A landing of n conductors has about n²/2 neighbors, and costing one is linear.
"""

from collections import deque
from collections.abc import Iterable, Iterator
from itertools import combinations, product

from service.diagnosis.miswires import NOWHERE, UNPROBED, NumberedCable, walks
from service.diagnosis.plan import Crossing, Landing
from service.diagnosis.swaps import Candidate, Effort, SingleSwaps, SwapResult

_LEAST_GAIN = 2


def equal_cost_candidates(candidates: Iterable[Candidate], effort: Effort) -> list[Candidate]:
    """Candidates that cost no more than these, which all cost the same, as far as the effort reaches."""
    queue = deque(candidates)
    seen = {(id(one.case), one.crossings, one.case.seats(one.swapped.landing)) for one in queue}
    searches: dict[int, SingleSwaps] = {}
    others: list[Candidate] = []
    while queue:
        candidate = queue.popleft()
        search = searches.setdefault(id(candidate.case), SingleSwaps(candidate.case, effort, _LEAST_GAIN))
        for landing in _neighbors(candidate):
            if effort.spent:
                return others
            effort.left -= 1
            seats = candidate.case.seats(landing)
            for crossings, crossed in _starts(candidate):
                key = id(candidate.case), crossings, seats
                if key in seen:
                    continue
                seen.add(key)
                other = _costed(search, candidate.cost, crossings, crossed, landing)
                if other is not None:
                    others.append(other)
                    queue.append(other)
    return others


def _neighbors(candidate: Candidate) -> Iterator[Landing]:
    case, landing = candidate.case, candidate.swapped.landing
    out_of_place = [_out_of_place(case, wire, position) for wire, position in enumerate(landing)]
    for one, other in combinations(range(len(landing)), 2):
        if out_of_place[one] or out_of_place[other]:
            moved = list(landing)
            moved[one], moved[other] = landing[other], landing[one]
            if case.is_possible(tuple(moved)):
                yield tuple(moved)
    yield from _onto_loose_contacts(case, landing)


def _onto_loose_contacts(case: NumberedCable, landing: Landing) -> Iterator[Landing]:
    """One wire put on a loose contact at each end: it and the blank conductors of both change places."""
    count = len(case.plan.a)
    blanks = range(count, len(landing))
    at_a = [seat for seat in blanks if case.b[landing[seat]] == NOWHERE]
    at_b = [seat for seat in blanks if case.a[seat] == NOWHERE]
    for here, there in product(at_a, at_b):
        for wire in range(count):
            if case.b[landing[wire]] != NOWHERE:
                moved = list(landing)
                moved[here], moved[there], moved[wire] = landing[there], landing[wire], landing[here]
                yield tuple(moved)


def _out_of_place(case: NumberedCable, wire: int, position: int) -> bool:
    """Whether the conductor is not in its own place, or the readings say that it should not be."""
    if wire != position or case.worth(wire, position) == 0:
        return True
    label = case.label[case.a[wire]]
    return label != UNPROBED and case.worth(wire, position) == 1 and bool(case.positions.get(label))


def _starts(candidate: Candidate) -> list[tuple[tuple[Crossing, ...], Landing]]:
    """The crossings to count from: the candidate's, and none."""
    as_wired = candidate.case.as_wired
    starts: list[tuple[tuple[Crossing, ...], Landing]] = [((), as_wired)]
    return [(candidate.crossings, candidate.crossed), *starts] if candidate.crossings else starts


def _costed(
    search: SingleSwaps, most: int, crossings: tuple[Crossing, ...], crossed: Landing, landing: Landing
) -> Candidate | None:
    """The candidate that this landing makes, if it costs `most` at the most. The estimate saves most of the costing."""
    case = search.case
    left = most - case.estimate(landing) + case.double_joins(case.misplaced(landing))
    if left < len(crossings) + 1:
        return None
    swaps = len(crossings) + walks(case, crossed, landing).cost
    if swaps > left:
        return None
    repairs = search.repair_cost(landing)
    if repairs is None or swaps + repairs > most:
        return None
    return Candidate(case, crossings, crossed, SwapResult(landing, swaps - len(crossings) + repairs))
