"""Opens and shorts: what wires that sit where they sit leave to explain, and at what cost.

A wire between two groups of the readings must be cut, and cutting any other never helps. Once every such wire and bond
is cut, the cable is in pieces, and what is left is to join the pieces of each group by shorts.

A piece is what conducts once the cuts are made. It can be named in a short along both halves (by an uncut conductor or
a contact that has no wire), in a short at end A (by an A half or a contact there that has no wire) or in one at end B.
Any shorts that join k pieces cost k - 1, so the search is for the fewest shorts, conductors' names before bonded
shells', both halves before end A before end B, and the earliest names: the part of `preference` that concerns shorts.
Two shorts of one kind could be one, so at most three are needed. Contacts on which no wire sits, whether they belong to
no conductor or a chain left them, are called *loose* here and have their own names.

Cut conductors that lead from one group at A to one other at B may share a short along both halves, which joins pieces
at both ends at the cost of one; these choices are tried first, up to a limit.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import reduce
from itertools import combinations, product
from typing import Final

from service.diagnosis.miswires import UNPROBED, NumberedCable
from service.wiring.faults import (
    COSTS,
    ENDS_BY_PREFERENCE,
    Fault,
    FaultClass,
    Key,
    listing_key,
    preference,
    preference_of_shorts,
)

_MOST_CHOICES: Final = 24
_MOST_IN_CLASS: Final = 4
_MOST_FREE: Final = 5
_OPEN, _SHORT = COSTS[FaultClass.OPEN], COSTS[FaultClass.SHORT]

# Joining the pieces of one group


@dataclass(slots=True)
class ConductingPiece:
    """Contacts that conduct to each other, by the names (as their place in the wiring's order) that reach them."""

    whole: list[int] = field(default_factory=list)
    a_half: list[int] = field(default_factory=list)
    b_half: list[int] = field(default_factory=list)
    loose_a: list[int] = field(default_factory=list)
    loose_b: list[int] = field(default_factory=list)
    group: int | None = None
    """The group that the readings put it in; None where nothing of it was probed."""

    def absorb(self, other: "ConductingPiece") -> None:
        """Add another piece that a short has joined to this one."""
        self.whole += other.whole
        self.a_half += other.a_half
        self.b_half += other.b_half
        self.loose_a += other.loose_a
        self.loose_b += other.loose_b

    @property
    def reach(self) -> int:
        """The shorts in which it can be named, as a mask: 4 along both halves, 1 at end A, 2 at end B."""
        if self.whole:
            return 7
        at_a = 5 if self.loose_a else 1 if self.a_half else 0
        return at_a | (6 if self.loose_b else 2 if self.b_half else 0)

    def name(self, end: str | None) -> tuple[bool, int] | None:
        """(whether it is a bonded shell's name, the name's rank) for a short at this end, or None."""
        if end is None:
            wires, loose = self.whole, self.loose_a + self.loose_b
        elif end == "A":
            wires, loose = self.whole + self.a_half, self.loose_a
        else:
            wires, loose = self.whole + self.b_half, self.loose_b
        if wires:
            return False, min(wires)
        if loose:
            return bool(self.a_half or self.b_half), min(loose)
        return None


Short = tuple[str | None, tuple[int, ...]]
"""The end, and the names' ranks in order."""


@dataclass(frozen=True, slots=True)
class Joining:
    """How the pieces of a group are joined: the cost, how many bonded shells are named, the shorts."""

    cost: int
    shells: int
    shorts: tuple[Short, ...]

    @property
    def key(self) -> Key:
        """Smaller is preferred."""
        return self.cost, *preference_of_shorts(self.shorts, self.shells)


def joining_cost(pieces: Sequence[ConductingPiece]) -> int | None:
    """The cost of `best_joining`, without working out which shorts; None where the pieces cannot be joined."""
    return _SHORT.of(len(pieces)) if _connect(pieces) else None


def with_bridge(pieces: list[ConductingPiece], spares: list[ConductingPiece]) -> list[ConductingPiece]:
    """The pieces, with the first unprobed piece of `spares` that lets them be joined, if needed, taken out of it."""
    if _connect(pieces):
        return pieces
    for number, spare in enumerate(spares):
        if _connect([*pieces, spare]):
            return [*pieces, spares.pop(number)]
    return pieces


def _connect(pieces: Sequence[ConductingPiece]) -> bool:
    """Whether the pieces are connected if every short that could name a piece does."""
    if len(pieces) == 1:
        return True
    reach = [piece.reach for piece in pieces]
    joined = reach.pop()
    while reach:
        near = [ends for ends in reach if ends & joined]
        if not near:
            return False
        reach = [ends for ends in reach if not ends & joined]
        for ends in near:
            joined |= ends
    return True


def best_joining(pieces: Sequence[ConductingPiece]) -> Joining | None:
    """The preferred shorts that make one of `pieces`, or None if none can."""
    if len(pieces) == 1:
        return Joining(0, 0, ())
    joinings = _in_one_short(pieces) or _in_two_shorts(pieces) or _in_three_shorts(pieces)
    return min(joinings, key=lambda joining: joining.key) if joinings else None


def _in_one_short(pieces: Sequence[ConductingPiece]) -> list[Joining]:
    return [made for end in ENDS_BY_PREFERENCE for made in _joined_by([(end, pieces)])]


def _joined_by(shorts: Sequence[tuple[str | None, Sequence[ConductingPiece]]]) -> Iterator[Joining]:
    """The shorts over these pieces, if every piece can be named in them."""
    cost = shells = 0
    written = []
    for end, members in shorts:
        names = [piece.name(end) for piece in members]
        known = [name for name in names if name is not None]
        if len(known) < len(names) or len(names) < 2:
            return
        cost += _SHORT.of(len(names))
        shells += sum(shell for shell, _ in known)
        written.append((end, tuple(sorted(rank for _, rank in known))))
    yield Joining(cost, shells, tuple(written))


def _in_two_shorts(pieces: Sequence[ConductingPiece]) -> list[Joining]:
    joinings: list[Joining] = []
    for first, second in ((None, "A"), (None, "B"), ("A", "B")):
        in_first = [piece for piece in pieces if piece.name(first)]
        in_second = [piece for piece in pieces if piece.name(second)]
        if any(piece.name(first) is piece.name(second) is None for piece in pieces):
            continue
        both = [piece for piece in in_first if piece.name(second)]
        for link in both:
            others = [piece for piece in both if piece is not link]
            only_first = [piece for piece in in_first if not piece.name(second)]
            only_second = [piece for piece in in_second if not piece.name(first)]
            for left, right in _splits(others):
                split = [(first, [*only_first, link, *left]), (second, [*only_second, link, *right])]
                joinings += _joined_by(split)
            if len(both) > _MOST_FREE:
                break
    return joinings


def _splits(pieces: Sequence[ConductingPiece]) -> Iterator[tuple[list[ConductingPiece], list[ConductingPiece]]]:
    """Every way to put the pieces in one short or the other; all in the first where there are many."""
    if len(pieces) > _MOST_FREE:
        yield list(pieces), []
        return
    for sides in product((True, False), repeat=len(pieces)):
        left = [piece for piece, side in zip(pieces, sides, strict=True) if side]
        yield left, [piece for piece, side in zip(pieces, sides, strict=True) if not side]


def _in_three_shorts(pieces: Sequence[ConductingPiece]) -> list[Joining]:
    """A short at each end, and one along both halves that ties them."""
    middle = [piece for piece in pieces if piece.name(None)]
    only_a = [piece for piece in pieces if not piece.name(None) and piece.name("A")]
    only_b = [piece for piece in pieces if not piece.name(None) and piece.name("B")]
    if len(middle) + len(only_a) + len(only_b) < len(pieces):
        return []
    links = middle[: _MOST_FREE + 1]
    return [
        made
        for at_a in links
        for at_b in links
        for made in _joined_by([("A", [*only_a, at_a]), (None, middle), ("B", [*only_b, at_b])])
    ]


# Cutting, and joining every group

Ends = Sequence[tuple[int, int]]
"""The contact at A and the contact at B of each wire."""


@dataclass(frozen=True, slots=True)
class RepairExplanation:
    """The opens and shorts that some wires leave, and a key: the smallest is preferred."""

    cost: int
    key: Key
    faults: tuple[Fault, ...]
    shells: int


def repair_costs(case: NumberedCable, wires: Ends) -> list[int | None]:
    """The cost of each choice of opens and shorts with these wires; None where it cannot explain the readings."""
    search = _RepairSearch(case, wires)
    return [search.cost(doubles) for doubles in search.double_shorts()]


def make_repairs(case: NumberedCable, wires: Ends) -> RepairExplanation:
    """The preferred opens and shorts that explain the readings with these wires, which must have a cost.

    The wires are given in the order of the conductors whose names they bear.
    """
    search = _RepairSearch(case, wires)
    costs = [(doubles, search.cost(doubles)) for doubles in search.double_shorts()]
    lowest = min(cost for _, cost in costs if cost is not None)
    made = [explanation for doubles, cost in costs if cost == lowest and (explanation := search.explanation(doubles))]
    return min(made, key=lambda explanation: explanation.key)


class _RepairSearch:
    def __init__(self, case: NumberedCable, wires: Ends) -> None:
        self.case = case
        self.labels = case.label
        plan = case.plan
        self.names = tuple(plan.wiring.name_order)
        self.ends = wires
        self.rank = [plan.wiring.name_order[name] for name in plan.names]
        self.cut = [wire for wire, (a, b) in enumerate(self.ends) if self._in_two_groups(a, b)]
        self.root = self._roots()
        self.cut_bonds = [at for at, (one, other) in enumerate(plan.bonds) if self._in_two_groups(one, other)]

    def _in_two_groups(self, one: int, other: int) -> bool:
        return UNPROBED != self.labels[one] != self.labels[other] != UNPROBED

    def _roots(self) -> list[int]:
        root = list(range(len(self.labels)))

        def top(contact: int) -> int:
            while root[contact] != contact:
                contact = root[contact]
            return contact

        for one, other in [*self.ends, *self.case.plan.bonds]:
            if not self._in_two_groups(one, other):
                one, other = top(one), top(other)
                root[max(one, other)] = min(one, other)
        return [top(contact) for contact in range(len(root))]

    def _pieces(self) -> dict[int, ConductingPiece]:
        root = self.root
        pieces: dict[int, ConductingPiece] = defaultdict(ConductingPiece)
        plan = self.case.plan
        cut = set(self.cut)
        for wire, (a, b) in enumerate(self.ends):
            if wire in cut:
                pieces[root[a]].a_half.append(self.rank[wire])
                pieces[root[b]].b_half.append(self.rank[wire])
            else:
                pieces[root[a]].whole.append(self.rank[wire])
        taken = {contact for ends in self.ends for contact in ends}
        for contact, name in enumerate(plan.wiring.all_contacts):
            if contact not in taken and name not in plan.wiring.by_name:
                piece = pieces[root[contact]]
                (piece.loose_a if contact < plan.split else piece.loose_b).append(plan.wiring.name_order[name])
        for contact, label in enumerate(self.labels):
            if label != UNPROBED:
                pieces[root[contact]].group = label
        return pieces

    def double_shorts(self) -> Iterator[tuple[tuple[int, ...], ...]]:
        """Choices of shorts along both halves, each of cut conductors that lead from one group at A to one at B."""
        classes: dict[tuple[int, int], list[int]] = defaultdict(list)
        for wire in self.cut:
            a, b = self.ends[wire]
            classes[self.labels[a], self.labels[b]].append(wire)
        options: list[list[tuple[int, ...]]] = []
        for wires in classes.values():
            if len(wires) > 1:
                sizes = range(2, len(wires) + 1) if len(wires) <= _MOST_IN_CLASS else (len(wires),)
                options.append([(), *(some for size in sizes for some in combinations(wires, size))])
        if reduce(lambda total, choices: total * len(choices), options, 1) > _MOST_CHOICES:
            options = [[choices[-1]] for choices in options]
        for chosen in product(*options):
            yield tuple(some for some in chosen if some)

    def cost(self, doubles: Sequence[Sequence[int]]) -> int | None:
        """The cost with these shorts along both halves of cut conductors, or None if the rest cannot be joined."""
        groups = self._groups(doubles)
        total = _OPEN.of(1) * (len(self.cut) + len(self.cut_bonds)) + sum(_SHORT.of(len(wires)) for wires in doubles)
        for group in groups:
            joining = joining_cost(group)
            if joining is None:
                return None
            total += joining
        return total

    def explanation(self, doubles: Sequence[Sequence[int]]) -> RepairExplanation | None:
        """The preferred explanation with these shorts along both halves of cut conductors, or None."""
        joined = [best_joining(group) for group in self._groups(doubles)]
        known = [made for made in joined if made is not None]
        return self._explanation(doubles, known) if len(known) == len(joined) else None

    def _groups(self, doubles: Sequence[Sequence[int]]) -> list[list[ConductingPiece]]:
        """The pieces of each group of the readings, with the unprobed pieces that they need to be joined."""
        pieces = self._pieces()
        into = {key: key for key in pieces}
        for wires in doubles:
            for side in (0, 1):
                self._unite(pieces, into, [self.root[self.ends[wire][side]] for wire in wires])
        groups: dict[int, list[ConductingPiece]] = defaultdict(list)
        spares = []
        for piece in pieces.values():
            if piece.group is None:
                spares.append(piece)
            else:
                groups[piece.group].append(piece)
        return [with_bridge(group, spares) for group in groups.values()]

    def _unite(self, pieces: dict[int, ConductingPiece], into: dict[int, int], keys: Sequence[int]) -> None:
        def top(key: int) -> int:
            while into[key] != key:
                key = into[key]
            return key

        first = top(keys[0])
        for key in keys[1:]:
            other = top(key)
            if other != first:
                pieces[first].absorb(pieces.pop(other))
                into[other] = first

    def _explanation(self, doubles: Sequence[Sequence[int]], joined: Sequence[Joining]) -> RepairExplanation:
        plan = self.case.plan
        shorts: list[Short] = [(None, tuple(sorted(self.rank[wire] for wire in wires))) for wires in doubles]
        shorts += [short for made in joined for short in made.shorts]
        shells = sum(made.shells for made in joined)
        faults = [Fault(FaultClass.OPEN, (plan.names[wire],)) for wire in self.cut]
        for at in self.cut_bonds:
            name = plan.bond_names[at]
            faults.append(Fault(FaultClass.OPEN, (name,), end=name[0]))
        faults += [Fault(FaultClass.SHORT, tuple(self.names[rank] for rank in members), end) for end, members in shorts]
        faults.sort(key=lambda fault: listing_key(plan.wiring, fault))
        cost = sum(fault.cost for fault in faults)
        return RepairExplanation(cost, (cost, *preference(plan.wiring, faults, shells)), tuple(faults), shells)
