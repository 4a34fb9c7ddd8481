"""Other landings of the same cost: the search for the least cost need not have passed the plainest of them.

Exchanging what two conductors have, where one of them is out of place, often trades an open or a short for a swap,
or two swaps for one, at the same cost. So from each candidate its neighbors are priced, and theirs in turn.
"""

from collections import deque
from collections.abc import Iterable, Iterator
from itertools import combinations, product

from service.diagnosis.search.case import NOWHERE, UNPROBED, NumberedCable
from service.diagnosis.search.crossings import CrossingCandidate
from service.diagnosis.search.moves import walks
from service.diagnosis.search.permutations import Effort, Mover, Settled
from service.diagnosis.search.plan import Crossing, Landing

_LEAST_GAIN = 2


def level_with(candidates: Iterable[CrossingCandidate], effort: Effort) -> list[CrossingCandidate]:
    """Candidates that cost no more than these, which all cost the same, as far as the effort reaches."""
    queue = deque(candidates)
    seen = {(id(one.case), one.crossings, one.case.seats(one.settled.landing)) for one in queue}
    movers: dict[int, Mover] = {}
    found: list[CrossingCandidate] = []
    while queue:
        candidate = queue.popleft()
        mover = movers.setdefault(id(candidate.case), Mover(candidate.case, effort, _LEAST_GAIN))
        for landing in _neighbors(candidate):
            if effort.spent:
                return found
            effort.left -= 1
            seats = candidate.case.seats(landing)
            for crossings, crossed in _starts(candidate):
                key = id(candidate.case), crossings, seats
                if key in seen:
                    continue
                seen.add(key)
                other = _priced(mover, candidate.cost, crossings, crossed, landing)
                if other is not None:
                    found.append(other)
                    queue.append(other)
    return found


def _neighbors(candidate: CrossingCandidate) -> Iterator[Landing]:
    case, landing = candidate.case, candidate.settled.landing
    astray = [_astray(case, wire, position) for wire, position in enumerate(landing)]
    for one, other in combinations(range(len(landing)), 2):
        if astray[one] or astray[other]:
            moved = list(landing)
            moved[one], moved[other] = landing[other], landing[one]
            if case.holds(tuple(moved)):
                yield tuple(moved)
    yield from _through(case, landing)


def _through(case: NumberedCable, landing: Landing) -> Iterator[Landing]:
    """One wire put on a tag at either end: three change places, with the blank conductor of each."""
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


def _astray(case: NumberedCable, wire: int, position: int) -> bool:
    """Whether the conductor is not in its own place, or reads as if it should not be."""
    if wire != position or case.worth(wire, position) == 0:
        return True
    label = case.label[case.a[wire]]
    return label != UNPROBED and case.worth(wire, position) == 1 and bool(case.positions.get(label))


def _starts(candidate: CrossingCandidate) -> list[tuple[tuple[Crossing, ...], Landing]]:
    """The crossings to count from: the candidate's, and none."""
    straight = candidate.case.straight
    starts: list[tuple[tuple[Crossing, ...], Landing]] = [((), straight)]
    return [(candidate.crossings, candidate.crossed), *starts] if candidate.crossings else starts


def _priced(
    mover: Mover, most: int, crossings: tuple[Crossing, ...], crossed: Landing, landing: Landing
) -> CrossingCandidate | None:
    case = mover.case
    left = most - case.estimate(landing) + case.double_joins(case.restless(landing))
    if left < len(crossings) + 1:
        return None
    swaps = len(crossings) + walks(case, crossed, landing).cost
    if swaps > left:
        return None
    price = mover.price(landing)
    if price is None or swaps + price > most:
        return None
    return CrossingCandidate(case, crossings, crossed, Settled(landing, swaps - len(crossings) + price))
