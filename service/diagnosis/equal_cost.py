"""Other permutations of the same cost: the search for the least cost need not have passed the plainest of them.

Exchanging what two conductors have, where one of them is out of place, often trades an open or a short for a swap,
or two swaps for one, at the same cost. So from each candidate its neighbors are costed, and theirs in turn:
breadth first, each permutation once. A permutation of n conductors has about n²/2 neighbors, and costing one is linear.
"""

from collections import deque
from collections.abc import Iterable, Iterator
from itertools import combinations, product

from service.diagnosis.miswires import NOWHERE, UNPROBED, NumberedCable, walks
from service.diagnosis.plan import Crossing, Permutation
from service.diagnosis.swaps import Candidate, Effort, SingleSwaps, SwapResult

_LEAST_GAIN = 2


def equal_cost_candidates(candidates: Iterable[Candidate], effort: Effort) -> list[Candidate]:
    """Candidates that cost no more than these, which all cost the same, as far as the effort reaches."""
    queue = deque(candidates)
    seen = {(id(one.case), one.crossings, one.case.seats(one.swapped.permutation)) for one in queue}
    searches: dict[int, SingleSwaps] = {}
    others: list[Candidate] = []
    while queue:
        candidate = queue.popleft()
        if candidate.cost <= candidate.case.fewest_repairs:
            continue  # repairs alone cost as much wherever the conductors land, so that any swap is too much
        search = searches.setdefault(id(candidate.case), SingleSwaps(candidate.case, effort, _LEAST_GAIN))
        for permutation in _neighbors(candidate):
            if effort.spent:
                return others
            effort.left -= 1
            seats = candidate.case.seats(permutation)
            for crossings, crossed in _starts(candidate):
                key = id(candidate.case), crossings, seats
                if key in seen:
                    continue
                seen.add(key)
                other = _costed(search, candidate.cost, crossings, crossed, permutation)
                if other is not None:
                    others.append(other)
                    queue.append(other)
    return others


def _neighbors(candidate: Candidate) -> Iterator[Permutation]:
    case, permutation = candidate.case, candidate.swapped.permutation
    out_of_place = [_out_of_place(case, wire, position) for wire, position in enumerate(permutation)]
    for one, other in combinations(range(len(permutation)), 2):
        if out_of_place[one] or out_of_place[other]:
            moved = list(permutation)
            moved[one], moved[other] = permutation[other], permutation[one]
            if case.is_possible(tuple(moved)):
                yield tuple(moved)
    yield from _onto_loose_contacts(case, permutation)


def _onto_loose_contacts(case: NumberedCable, permutation: Permutation) -> Iterator[Permutation]:
    """One wire put on a loose contact at each end: it and the blank conductors of both change places."""
    count = len(case.plan.a)
    blanks = range(count, len(permutation))
    at_a = [seat for seat in blanks if case.b[permutation[seat]] == NOWHERE]
    at_b = [seat for seat in blanks if case.a[seat] == NOWHERE]
    for here, there in product(at_a, at_b):
        for wire in range(count):
            if case.b[permutation[wire]] != NOWHERE:
                moved = list(permutation)
                moved[here], moved[there], moved[wire] = permutation[there], permutation[wire], permutation[here]
                yield tuple(moved)


def _out_of_place(case: NumberedCable, wire: int, position: int) -> bool:
    """Whether the conductor is not in its own place, or the readings say that it should not be."""
    if wire != position or case.worth(wire, position) == 0:
        return True
    label = case.label[case.a[wire]]
    return label != UNPROBED and case.worth(wire, position) == 1 and bool(case.positions.get(label))


def _starts(candidate: Candidate) -> list[tuple[tuple[Crossing, ...], Permutation]]:
    """The crossings to count from: the candidate's, and none."""
    as_wired = candidate.case.as_wired
    starts: list[tuple[tuple[Crossing, ...], Permutation]] = [((), as_wired)]
    return [(candidate.crossings, candidate.crossed), *starts] if candidate.crossings else starts


def _costed(
    search: SingleSwaps, most: int, crossings: tuple[Crossing, ...], crossed: Permutation, permutation: Permutation
) -> Candidate | None:
    """The candidate that this permutation makes, if it costs at most `most`. The estimate saves most of the costing."""
    case = search.case
    left = most - case.estimate(permutation) + case.double_joins(case.misplaced(permutation))
    if left < len(crossings) + 1:
        return None
    swaps = len(crossings) + walks(case, crossed, permutation).cost
    if swaps > left:
        return None
    repairs = search.repair_cost(permutation)
    if repairs is None or swaps + repairs > most:
        return None
    return Candidate(case, crossings, crossed, SwapResult(permutation, swaps - len(crossings) + repairs))
