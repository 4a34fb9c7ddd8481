"""What wires in their places leave to explain: which conductors and bonds are cut, and which shorts join the pieces.

A conductor between two groups must be cut, and cutting any other never helps.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import combinations, product
from typing import Final

from service.diagnosis.search.case import UNPROBED, NumberedCable
from service.diagnosis.search.shorts import ContactGroup, Joined, Short, bridged, join, price
from service.wiring.faults import Fault, FaultClass, Key, listing_key, preference

_MOST_CHOICES: Final = 24
_MOST_IN_CLASS: Final = 4
Ends = Sequence[tuple[int, int]]
"""The contact at A and the contact at B of each wire."""


@dataclass(frozen=True, slots=True)
class RepairExplanation:
    """The opens and shorts that some wires leave, and a key by which the preferred mending of several is smallest."""

    cost: int
    key: Key
    faults: tuple[Fault, ...]
    shells: int


def prices_of_mending(case: NumberedCable, wires: Ends) -> list[int | None]:
    """What each choice of opens and shorts costs with these wires; None where it cannot explain the readings."""
    mender = _Mender(case, wires)
    return [mender.price(doubles) for doubles in mender.double_shorts()]


def mend(case: NumberedCable, wires: Ends) -> RepairExplanation:
    """The preferred opens and shorts that explain the readings with these wires; they must have a price.

    The wires are given in the order of the conductors whose names they bear.
    """
    mender = _Mender(case, wires)
    prices = [(doubles, mender.price(doubles)) for doubles in mender.double_shorts()]
    lowest = min(price for _, price in prices if price is not None)
    made = [mending for doubles, price in prices if price == lowest and (mending := mender.mending(doubles))]
    return min(made, key=lambda mending: mending.key)


class _Mender:
    def __init__(self, case: NumberedCable, wires: Ends) -> None:
        self.case = case
        self.labels = case.label
        plan = case.plan
        self.names = tuple(plan.wiring.name_order)
        self.ends = wires
        self.rank = [plan.wiring.name_order[name] for name in plan.names]
        self.cut = [wire for wire, (a, b) in enumerate(self.ends) if self._apart(a, b)]
        self.root = self._roots()
        self.cut_bonds = [at for at, (one, other) in enumerate(plan.bonds) if self._apart(one, other)]

    def _apart(self, one: int, other: int) -> bool:
        return UNPROBED != self.labels[one] != self.labels[other] != UNPROBED

    def _roots(self) -> list[int]:
        root = list(range(len(self.labels)))

        def top(contact: int) -> int:
            while root[contact] != contact:
                contact = root[contact]
            return contact

        for one, other in [*self.ends, *self.case.plan.bonds]:
            if not self._apart(one, other):
                one, other = top(one), top(other)
                root[max(one, other)] = min(one, other)
        return [top(contact) for contact in range(len(root))]

    def _pieces(self) -> dict[int, ContactGroup]:
        root = self.root
        pieces: dict[int, ContactGroup] = defaultdict(ContactGroup)
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
        """Choices of shorts whose members are all cut, from one group at A to another at B."""
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

    def price(self, doubles: Sequence[Sequence[int]]) -> int | None:
        """The cost with these shorts along both halves of cut conductors, or None if the rest cannot be joined."""
        groups = self._groups(doubles)
        total = len(self.cut) + len(self.cut_bonds) + sum(len(wires) - 1 for wires in doubles)
        for group in groups:
            joining = price(group)
            if joining is None:
                return None
            total += joining
        return total

    def mending(self, doubles: Sequence[Sequence[int]]) -> RepairExplanation | None:
        """The preferred mending with these shorts along both halves of cut conductors."""
        joined = [join(group) for group in self._groups(doubles)]
        known = [made for made in joined if made is not None]
        return self._written(doubles, known) if len(known) == len(joined) else None

    def _groups(self, doubles: Sequence[Sequence[int]]) -> list[list[ContactGroup]]:
        """The pieces of each group of the readings, with what unprobed pieces they need to be joined."""
        pieces = self._pieces()
        into = {key: key for key in pieces}
        for wires in doubles:
            for side in (0, 1):
                self._unite(pieces, into, [self.root[self.ends[wire][side]] for wire in wires])
        groups: dict[int, list[ContactGroup]] = defaultdict(list)
        spares = []
        for piece in pieces.values():
            if piece.group is None:
                spares.append(piece)
            else:
                groups[piece.group].append(piece)
        return [bridged(group, spares) for group in groups.values()]

    def _unite(self, pieces: dict[int, ContactGroup], into: dict[int, int], keys: Sequence[int]) -> None:
        def top(key: int) -> int:
            while into[key] != key:
                key = into[key]
            return key

        first = top(keys[0])
        for key in keys[1:]:
            other = top(key)
            if other != first:
                pieces[first].take(pieces.pop(other))
                into[other] = first

    def _written(self, doubles: Sequence[Sequence[int]], joined: Sequence[Joined]) -> RepairExplanation:
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
