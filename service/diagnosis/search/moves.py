"""From a landing to miswires: which cycles and chains bring each conductor where it is.

Every contact where a wire may sit is a *seat*. Walking from seat to seat (from the A seat of a wire to where it
lands, and on to the A seat whose wire should land there) gives cycles, and paths that begin or end where a contact
of no conductor was taken or one came free. A path that took a contact at one end is a chain there. One that took a
contact at both ends leaves another free at both: the two together are a chain at each end, which share one conductor,
and there are several ways to say which wire is which.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import permutations, product
from typing import Final

from service.diagnosis.search.case import NOWHERE, NumberedCable
from service.diagnosis.search.plan import Landing
from service.wiring.faults import Fault, FaultClass
from service.wiring.wirings import connector_of

_MOST_NAMED: Final = 4
"""Of so many conductors that two chains share out, every way of naming them is tried."""

Seats = tuple[tuple[int, int], ...]
"""The contact at A and the contact at B where each conductor sits."""


@dataclass(frozen=True, slots=True)
class Walks:
    """The conductors that each walk passes, in order; of a chain at A, the contact that it took comes first."""

    cycles: tuple[tuple[int, ...], ...]
    chains_a: tuple[tuple[int, ...], ...]
    chains_b: tuple[tuple[int, ...], ...]
    through: tuple[tuple[int, ...], ...]
    """From a contact taken at A to one taken at B; that at A comes first."""
    gone: tuple[tuple[int, ...], ...]
    """From a contact that came free at B to one that came free at A."""

    @property
    def cost(self) -> int:
        """What the miswires cost."""
        cycles = sum(len(cycle) - 1 for cycle in self.cycles)
        at_a = sum(len(walk) - 1 for walk in self.chains_a)
        both = sum(map(len, self.through)) + sum(map(len, self.gone))
        return cycles + at_a + sum(map(len, self.chains_b)) + both


@dataclass(frozen=True, slots=True)
class Named:
    """One way to tell a landing as miswires: the faults, the seats by conductor, and how many chains stray.

    A chain strays if it ends on another connector than the one where it left a contact free.
    """

    faults: tuple[Fault, ...]
    seats: Seats
    strays: int


def walks(case: NumberedCable, before: Landing, after: Landing) -> Walks:
    """The walks of a landing, from the positions that conductors had `before`."""
    count = len(case.plan.a)
    holder = {before[wire]: wire for wire in range(count)}
    seen: set[int] = set()

    def walk(seat: int) -> tuple[list[int], int]:
        """The seats from this one on, and the position after the last."""
        passed = []
        while seat not in seen:
            seen.add(seat)
            passed.append(seat)
            position = after[seat]
            if position not in holder:
                return passed, position
            seat = holder[position]
        return passed, after[passed[-1]]

    chains_a: list[tuple[int, ...]] = []
    chains_b: list[tuple[int, ...]] = []
    through: list[tuple[int, ...]] = []
    gone: list[tuple[int, ...]] = []
    for seat in range(count, len(after)):
        if case.a[seat] != NOWHERE and case.b[after[seat]] != NOWHERE:
            passed, last = walk(seat)
            (chains_a if case.b[last] == NOWHERE else through).append(tuple(passed))
    for seat in range(count, len(after)):
        if case.a[seat] == NOWHERE and after[seat] in holder:
            passed, last = walk(holder[after[seat]])
            (gone if case.b[last] == NOWHERE else chains_b).append(tuple(passed))
    cycles = [walk(wire)[0] for wire in range(count) if wire not in seen and after[wire] != before[wire]]
    left = [cycle for cycle in cycles if len(cycle) > 1]
    return Walks(tuple(map(tuple, left)), tuple(chains_a), tuple(chains_b), tuple(through), tuple(gone))


def namings(case: NumberedCable, before: Landing, after: Landing) -> Iterator[Named]:
    """Every way to tell this landing as miswires of least cost."""
    found = walks(case, before, after)
    seat_a = list(range(len(case.plan.a)))
    seat_b = [after[wire] for wire in seat_a]
    for taken, *wires in found.chains_a:
        for wire, seat in zip(wires, [taken, *wires], strict=False):
            seat_a[wire], seat_b[wire] = seat, before[wire]
    shared = [
        list(_shared_out(before, after, through, gone)) for through, gone in zip(found.through, found.gone, strict=True)
    ]
    for chosen in product(*shared):
        for assigned in chosen:
            for wire, (a, b) in assigned.items():
                seat_a[wire], seat_b[wire] = a, b
        yield _told(case, before, seat_a, seat_b)


def _shared_out(
    before: Landing, after: Landing, through: Sequence[int], gone: Sequence[int]
) -> Iterator[Mapping[int, tuple[int, int]]]:
    """Which conductor is on which seats, of those that a chain at either end passes."""
    wires = through[1:]
    named = [*wires, *gone]
    edges = [(seat, after[seat]) for seat in (*through, *gone[:-1])]
    usual = dict(zip(wires, edges[1:], strict=False)) | dict(zip(gone, edges[len(through) :], strict=False))
    usual[gone[-1]] = edges[0]
    if len(named) > _MOST_NAMED:
        yield usual
        return
    for order in permutations(edges):
        at = dict(zip(named, order, strict=True))
        moved_a = [wire for wire in named if at[wire][0] != wire]
        moved_b = [wire for wire in named if at[wire][1] != before[wire]]
        if len(moved_a) + len(moved_b) == len(named) + 1:
            to_a = {wire: at[wire][0] for wire in moved_a}
            holder = {before[wire]: wire for wire in named}
            to_b = {wire: holder.get(at[wire][1], -1) for wire in moved_b}
            if _one_chain(to_a) and _one_chain(to_b):
                yield at


def _one_chain(goes_to: Mapping[int, int]) -> bool:
    """Whether the conductors that move make one chain and no cycle."""
    lasts = [wire for wire, goal in goes_to.items() if goal not in goes_to]
    length = 0
    at = lasts[:1] if len(lasts) == 1 else []
    while at:
        length += 1
        at = [wire for wire, goal in goes_to.items() if goal == at[0]]
    return length == len(goes_to) > 0


def _told(case: NumberedCable, before: Landing, seat_a: Sequence[int], seat_b: Sequence[int]) -> Named:
    plan = case.plan
    contacts = plan.wiring.all_contacts
    at_a = [case.a[seat] for seat in seat_a]
    at_b = [case.b[seat] for seat in seat_b]
    holder = {before[wire]: wire for wire in range(len(plan.a))}
    to_a = {wire: seat for wire, seat in enumerate(seat_a) if seat != wire}
    to_b = {wire: holder.get(seat, -1) for wire, seat in enumerate(seat_b) if seat != before[wire]}
    faults = []
    strays = 0
    for end, goes_to, seats, was in (
        ("A", to_a, at_a, plan.a),
        ("B", to_b, at_b, [case.b[position] for position in before]),
    ):
        for wires, is_chain in _parts(goes_to):
            names = tuple(plan.names[wire] for wire in sorted(wires))
            if not is_chain and len(wires) == 2 and plan.partner.get(wires[0]) == wires[1]:
                faults.append(Fault(FaultClass.REVERSED_PAIR, names))
                continue
            landings = tuple((plan.names[wire], contacts[seats[wire]]) for wire in sorted(wires))
            faults.append(Fault(FaultClass.MISWIRE, names, end if is_chain else None, landings=landings))
            if is_chain:
                left, last = contacts[was[wires[0]]], contacts[seats[wires[-1]]]
                strays += connector_of(left) != connector_of(last)
    return Named(tuple(faults), tuple(zip(at_a, at_b, strict=True)), strays)


def _parts(goes_to: Mapping[int, int]) -> Iterator[tuple[list[int], bool]]:
    """Each chain, from the conductor that left a contact free to the last, and each cycle: its conductors."""
    reached = set(goes_to.values())
    seen: set[int] = set()
    for first in [*(wire for wire in goes_to if wire not in reached), *goes_to]:
        part = []
        wire = first
        while wire in goes_to and wire not in seen:
            seen.add(wire)
            part.append(wire)
            wire = goes_to[wire]
        if part:
            yield part, first not in reached
