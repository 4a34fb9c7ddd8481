"""Other landings of the same cost: the search for the least cost need not have passed the plainest of them.

Exchanging what two conductors have, where one of them is out of place, often trades an open or a short for a swap,
or two swaps for one, at the same cost. So from each candidate its neighbors are priced, and theirs in turn.
"""

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations

from service.wiring.search.case import UNPROBED, Case
from service.wiring.search.crossings import Candidate
from service.wiring.search.landings import Effort, Mover, Settled
from service.wiring.search.plan import Crossing, Landing

_LEAST_GAIN = 2


def level_with(candidates: Iterable[Candidate], effort: Effort) -> list[Candidate]:
    """Candidates that cost no more than these, which all cost the same, as far as the effort reaches."""
    queue = deque(candidates)
    seen = {(id(one.case), one.crossings, one.settled.landing) for one in queue}
    movers: dict[int, Mover] = {}
    found: list[Candidate] = []
    while queue:
        candidate = queue.popleft()
        mover = movers.setdefault(id(candidate.case), Mover(candidate.case, effort, _LEAST_GAIN))
        for landing in _neighbors(candidate):
            if effort.spent:
                return found
            effort.left -= 1
            for crossings, crossed in _starts(candidate):
                key = id(candidate.case), crossings, landing
                if key in seen:
                    continue
                seen.add(key)
                other = _priced(mover, candidate.cost, crossings, crossed, landing)
                if other is not None:
                    found.append(other)
                    queue.append(other)
    return found


def _neighbors(candidate: Candidate) -> Iterator[Landing]:
    landing = candidate.settled.landing
    astray = [_astray(candidate.case, wire, position) for wire, position in enumerate(landing)]
    for one, other in combinations(range(len(landing)), 2):
        if astray[one] or astray[other]:
            moved = list(landing)
            moved[one], moved[other] = landing[other], landing[one]
            yield tuple(moved)


def _astray(case: Case, wire: int, position: int) -> bool:
    """Whether the conductor is not in its own place, or reads as if it should not be."""
    if wire != position or case.worth(wire, position) == 0:
        return True
    label = case.label[case.plan.a[wire]]
    return label != UNPROBED and case.worth(wire, position) == 1 and bool(case.positions.get(label))


def _starts(candidate: Candidate) -> list[tuple[tuple[Crossing, ...], Landing]]:
    """The crossings to count from: the candidate's, and none."""
    straight = tuple(range(len(candidate.crossed)))
    starts: list[tuple[tuple[Crossing, ...], Landing]] = [((), straight)]
    return [(candidate.crossings, candidate.crossed), *starts] if candidate.crossings else starts


def _priced(
    mover: Mover, most: int, crossings: tuple[Crossing, ...], crossed: Landing, landing: Landing
) -> Candidate | None:
    case = mover.case
    swaps = len(crossings) + _moves(crossed, landing)
    if swaps + case.estimate(landing) - case.double_joins(case.restless(landing)) > most:
        return None
    price = mover.price(landing)
    if price is None or swaps + price > most:
        return None
    return Candidate(case, crossings, crossed, Settled(landing, swaps - len(crossings) + price))


def _moves(before: Landing, after: Sequence[int]) -> int:
    """The swaps of two that lead from one landing to another: conductors less cycles."""
    holder = {position: wire for wire, position in enumerate(before)}
    cycles = 0
    seen: set[int] = set()
    for first in range(len(after)):
        if first not in seen:
            cycles += 1
        wire = first
        while wire not in seen:
            seen.add(wire)
            wire = holder[after[wire]]
    return len(after) - cycles
