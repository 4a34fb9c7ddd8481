"""Permutations: which conductor sits on which contact, what that is worth, and the miswires that it amounts to.

The first half numbers one cable and its test. Every contact bears the label of its group in the readings, and a
permutation gives each conductor the position (a B contact) where it ends. A conductor that joins two contacts of one
group is worth 2: it need not be cut, and it saves a join. One with an unprobed contact is worth 1: it need not be cut.
One between two groups is worth 0: it must be cut. The repairs that a permutation leaves are estimated from the sum.

A contact of no conductor that the readings join to another may hold a wire (the shell's tag). At end B it is one
more position, with a *blank* conductor that starts nowhere; at end A a blank conductor starts there, whose own
position is nowhere. A wire that goes there changes places with the blank, so the cost of a chain is the number of its
exchanges.

The second half walks a permutation from contact to contact: from the A contact of a wire to where the wire lands, and
on to the A contact whose wire should land there. That gives cycles, and paths that begin or end where a contact of no
conductor was taken or a contact came free. A path that took a contact at one end is a chain there. One that took a
contact at both ends leaves another free at both: the two together are a chain at each end, which share one conductor,
and there are several ways to say which wire is which.

Walking is linear in the conductors; naming the two chains tries at most 4! orders.
"""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import permutations, product
from operator import getitem
from typing import Final

from service.diagnosis.plan import Permutation, WiringPlan
from service.wiring.faults import CHAIN_COST, COSTS, Fault, FaultClass
from service.wiring.wirings import connector_of

UNPROBED: Final = -1
"""The label of a contact that was not probed."""
NOWHERE: Final = -1
"""In place of a contact: where a blank conductor starts, or where it has its position."""
_MOST_NAMED: Final = 4
"""Two chains that share out at most so many conductors are named in every possible way."""

Seats = tuple[tuple[int, int], ...]
"""The contact at A and the contact at B where each conductor sits."""


class NumberedCable:
    """One cable by number: the label of each contact, and what each permutation is worth.

    `loose_joined` are the contacts of no conductor that the readings join to another. `a` and `b` are the contacts of
    the plan's conductors, then those of the blanks: from such a contact at A to nowhere, and from nowhere to one at B.
    """

    def __init__(self, plan: WiringPlan, label: Sequence[int], loose_joined: Sequence[int] = ()) -> None:
        self.plan = plan
        self.label = label
        self.has_blanks = bool(loose_joined)
        self.a = plan.a + tuple(contact if contact < plan.split else NOWHERE for contact in loose_joined)
        self.b = plan.b + tuple(contact if contact >= plan.split else NOWHERE for contact in loose_joined)
        self.as_wired: Permutation = tuple(range(len(self.a)))
        self.starts: dict[int, list[int]] = defaultdict(list)
        self.positions: dict[int, list[int]] = defaultdict(list)
        for number, (a, b) in enumerate(zip(self.a, self.b, strict=True)):
            if a != NOWHERE:
                self.starts[label[a]].append(number)
            if b != NOWHERE:
                self.positions[label[b]].append(number)
        self.fully_probed = not (self.starts.get(UNPROBED) or self.positions.get(UNPROBED))
        sizes = Counter(label)
        del sizes[UNPROBED]
        self._most_repairs = len(plan.a) + sizes.total() - len(sizes) + self._bonds()
        self._start_label = [NOWHERE if a == NOWHERE else label[a] for a in self.a]
        self._placeable = [
            wire for wire, a in enumerate(self.a) if a != NOWHERE and self._start_label[wire] != UNPROBED
        ]
        self._worth = [self._worths_of(a) for a in self.a]

    def _worths_of(self, a: int) -> list[int]:
        """What a conductor that starts at this contact is worth at each position."""
        if a != NOWHERE and self.label[a] == UNPROBED:
            return [0 if b == NOWHERE else 1 for b in self.b]
        worths = [0] * len(self.b)
        if a != NOWHERE:
            for position in self.positions.get(UNPROBED, ()):
                worths[position] = 1
            for position in self.positions.get(self.label[a], ()):
                worths[position] = 2
        return worths

    def wires(self, permutation: Permutation) -> tuple[tuple[int, int], ...]:
        """The contact at A and the contact at B of each wire; there are as many as the wiring has conductors."""
        if not self.has_blanks:
            return tuple(zip(self.a, [self.b[position] for position in permutation], strict=True))
        ends = [(self.a[seat], self.b[position]) for seat, position in enumerate(permutation)]
        return tuple((a, b) for a, b in ends if a != NOWHERE and b != NOWHERE)

    def seats(self, permutation: Permutation) -> Permutation:
        """The permutation without the blanks: wherever they are, the wires are the same."""
        if not self.has_blanks:
            return permutation
        return tuple(
            NOWHERE if self.b[position] == NOWHERE else position
            for seat, position in enumerate(permutation)
            if self.a[seat] != NOWHERE
        )

    def is_possible(self, permutation: Permutation) -> bool:
        """Whether every blank that starts nowhere has a position somewhere; otherwise there is a wire too many."""
        return not any(
            self.a[seat] == NOWHERE == self.b[position]
            for seat, position in enumerate(permutation[len(self.plan.a) :], len(self.plan.a))
        )

    def worth(self, conductor: int, position: int) -> int:
        """2, 1 or 0, as the head of this file explains."""
        return self._worth[conductor][position]

    def estimate(self, permutation: Permutation) -> int:
        """The number of opens and joins that this permutation leaves; exact if contacts are joined in only one way."""
        return self._most_repairs - sum(map(getitem, self._worth, permutation))

    @property
    def fewest_repairs(self) -> int:
        """The number of opens and joins that no permutation goes below: every wire joins two contacts of one group."""
        return self._most_repairs - 2 * len(self.plan.a)

    def misplaced(self, permutation: Permutation) -> list[int]:
        """The conductors that could be worth more elsewhere."""
        worth = self._worth
        return [wire for wire in self._placeable if worth[wire][permutation[wire]] < 2]

    @cached_property
    def lower_bound(self) -> int:
        """A cost that no explanation of this case can go below; a wire on a loose contact saves 2 and costs 1."""
        best = 0
        spare = bool(self.positions.get(UNPROBED))
        for label, conductors in self.starts.items():
            wires, places = self.wires_among(conductors), self.wires_among(self.positions.get(label, ()))
            if label == UNPROBED:
                best += wires
                continue
            matched = min(wires, places)
            best += 2 * matched + (wires - matched if spare else 0)
            best += min(len(conductors), len(self.positions.get(label, ()))) - matched
        return self._most_repairs - best - self._free_joins()

    def wires_among(self, numbers: Iterable[int]) -> int:
        """How many are conductors of the wiring, or their positions."""
        return sum(number < len(self.plan.a) for number in numbers)

    def double_joins(self, conductors: Collection[int]) -> int:
        """The most joins that shorts along both halves of these conductors, if they are cut, could save."""
        return len(conductors) - len({self._start_label[conductor] for conductor in conductors})

    def _free_joins(self) -> int:
        """`double_joins` of the conductors that must be cut wherever the others land."""
        at_a = at_b = 0
        for label in self.starts.keys() | self.positions.keys():
            starts, ends = self.starts.get(label, ()), self.positions.get(label, ())
            if label != UNPROBED:
                at_a += max(0, len(starts) - self.wires_among(ends) - 1)
                at_b += max(0, len(ends) - self.wires_among(starts) - 1)
        return min(at_a, at_b)

    def _bonds(self) -> int:
        """A bond within a group saves a join; one between groups must be opened."""
        total = 0
        for bond in self.plan.bonds:
            one, other = (self.label[contact] for contact in bond)
            if UNPROBED not in (one, other):
                total += -1 if one == other else 1
        return total


@dataclass(frozen=True, slots=True)
class Walks:
    """The conductors that each walk passes, in order; a chain at A begins with the contact that it took."""

    cycles: tuple[tuple[int, ...], ...]
    chains_a: tuple[tuple[int, ...], ...]
    chains_b: tuple[tuple[int, ...], ...]
    taken_at_both: tuple[tuple[int, ...], ...]
    """From a contact taken at A to one taken at B; the one at A comes first."""
    freed_at_both: tuple[tuple[int, ...], ...]
    """From a contact that came free at B to one that came free at A."""

    @property
    def cost(self) -> int:
        """The cost of the miswires. Two chains that share a conductor count it twice."""
        cycles = sum(COSTS[FaultClass.MISWIRE].of(len(cycle)) for cycle in self.cycles)
        at_a = sum(CHAIN_COST.of(len(walk) - 1) for walk in self.chains_a)
        at_b = sum(CHAIN_COST.of(len(walk)) for walk in self.chains_b)
        both = sum(CHAIN_COST.of(len(walk)) for walk in (*self.taken_at_both, *self.freed_at_both))
        return cycles + at_a + at_b + both


@dataclass(frozen=True, slots=True)
class Naming:
    """One way to name a permutation as miswires: the faults, the seats of each conductor, and how many chains stray.

    A chain strays if it ends on another connector than the one where it left a contact free.
    """

    faults: tuple[Fault, ...]
    seats: Seats
    strays: int


def walks(case: NumberedCable, before: Permutation, after: Permutation) -> Walks:
    """The walks of a permutation, from the positions that conductors had `before`."""
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
    taken_at_both: list[tuple[int, ...]] = []
    freed_at_both: list[tuple[int, ...]] = []
    for seat in range(count, len(after)):
        if case.a[seat] != NOWHERE and case.b[after[seat]] != NOWHERE:
            passed, last = walk(seat)
            (chains_a if case.b[last] == NOWHERE else taken_at_both).append(tuple(passed))
    for seat in range(count, len(after)):
        if case.a[seat] == NOWHERE and after[seat] in holder:
            passed, last = walk(holder[after[seat]])
            (freed_at_both if case.b[last] == NOWHERE else chains_b).append(tuple(passed))
    cycles = [walk(wire)[0] for wire in range(count) if wire not in seen and after[wire] != before[wire]]
    left = [cycle for cycle in cycles if len(cycle) > 1]
    return Walks(tuple(map(tuple, left)), tuple(chains_a), tuple(chains_b), tuple(taken_at_both), tuple(freed_at_both))


def namings(case: NumberedCable, before: Permutation, after: Permutation) -> Iterator[Naming]:
    """Every way to name this permutation as miswires of least cost."""
    walked = walks(case, before, after)
    seat_a = list(range(len(case.plan.a)))
    seat_b = [after[wire] for wire in seat_a]
    for taken, *wires in walked.chains_a:
        for wire, seat in zip(wires, [taken, *wires], strict=False):
            seat_a[wire], seat_b[wire] = seat, before[wire]
    shared = [
        list(_shared_chains(before, after, taken, freed))
        for taken, freed in zip(walked.taken_at_both, walked.freed_at_both, strict=True)
    ]
    for chosen in product(*shared):
        for assigned in chosen:
            for wire, (a, b) in assigned.items():
                seat_a[wire], seat_b[wire] = a, b
        yield _naming(case, before, seat_a, seat_b)


def _shared_chains(
    before: Permutation, after: Permutation, taken: Sequence[int], freed: Sequence[int]
) -> Iterator[Mapping[int, tuple[int, int]]]:
    """The seats of each conductor that a chain at either end passes, in every way that costs no more."""
    wires = taken[1:]
    named = [*wires, *freed]
    edges = [(seat, after[seat]) for seat in (*taken, *freed[:-1])]
    usual = dict(zip(wires, edges[1:], strict=False)) | dict(zip(freed, edges[len(taken) :], strict=False))
    usual[freed[-1]] = edges[0]
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
    """Whether the conductors that move form one chain and no cycle."""
    lasts = [wire for wire, goal in goes_to.items() if goal not in goes_to]
    length = 0
    at = lasts[:1] if len(lasts) == 1 else []
    while at:
        length += 1
        at = [wire for wire, goal in goes_to.items() if goal == at[0]]
    return length == len(goes_to) > 0


def _naming(case: NumberedCable, before: Permutation, seat_a: Sequence[int], seat_b: Sequence[int]) -> Naming:
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
        for wires, is_chain in _chains_and_cycles(goes_to):
            names = tuple(plan.names[wire] for wire in sorted(wires))
            if not is_chain and len(wires) == 2 and plan.partner.get(wires[0]) == wires[1]:
                faults.append(Fault(FaultClass.REVERSED_PAIR, names))
                continue
            destinations = tuple((plan.names[wire], contacts[seats[wire]]) for wire in sorted(wires))
            faults.append(Fault(FaultClass.MISWIRE, names, end if is_chain else None, destinations=destinations))
            if is_chain:
                left, last = contacts[was[wires[0]]], contacts[seats[wires[-1]]]
                strays += connector_of(left) != connector_of(last)
    return Naming(tuple(faults), tuple(zip(at_a, at_b, strict=True)), strays)


def _chains_and_cycles(goes_to: Mapping[int, int]) -> Iterator[tuple[list[int], bool]]:
    """The conductors of each chain, from the one that left a contact free to the last, and of each cycle."""
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
