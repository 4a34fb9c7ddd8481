"""A wiring prepared for the search: names become numbers, and the possible crossings are listed once.

Conductor `c` (a number, in the wiring's order) starts at contact `a[c]`. A *position* is where a conductor may
land: position `p` is the B contact of conductor `p` in the wiring, `b[p]`. A *permutation* is a tuple that gives each
conductor its position; a good cable's is 0, 1, 2, …
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

from service.wiring.faults import RANK, Fault, FaultClass, Faulty, exchanged
from service.wiring.wirings import Conductor, Wiring, merge

Permutation = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Crossing:
    """An exchange of whole pairs or lanes: the fault it would be, and the conductors it exchanges two by two."""

    fault: Fault
    swaps: tuple[tuple[int, int], ...]
    order: tuple[int, ...]

    def applied(self, permutation: Permutation) -> Permutation:
        """The permutation after the exchange of the present positions."""
        moved = list(permutation)
        for one, other in self.swaps:
            moved[one], moved[other] = moved[other], moved[one]
        return tuple(moved)


@dataclass(frozen=True)
class WiringPlan:
    """What the search needs to know of a wiring; contacts and conductors by number."""

    wiring: Wiring
    names: tuple[str, ...]
    a: tuple[int, ...]
    b: tuple[int, ...]
    bonds: tuple[tuple[int, int], ...]
    bond_names: tuple[str, ...]
    loose: tuple[int, ...]
    split: int
    """The number of contacts at end A: contacts from here on are at end B."""
    partner: dict[int, int]
    """The other conductor of a conductor's pair."""
    crossings: tuple[Crossing, ...]
    """Crossed lanes, then crossed pairs, each in the order in which faults are listed (and applied)."""
    tangled: bool
    """Whether a contact is shared, or a bond reaches two conductors: contacts may then be joined two ways."""
    junctions: tuple[int, ...]
    """Contacts where several conductors or bonds meet."""
    good: frozenset[int]
    """The groups of a good cable."""
    needed: int
    """The contacts that must be probed for a pass."""


@lru_cache(maxsize=256)
def make_plan(wiring: Wiring) -> WiringPlan:
    """The plan of a wiring, made once."""
    place = wiring.position
    number = {wire.name: at for at, wire in enumerate(wiring.conductors)}
    a = tuple(place[wire.a] for wire in wiring.conductors)
    b = tuple(place[wire.b] for wire in wiring.conductors)
    bonds = tuple((place[bond.earlier], place[bond.later]) for bond in wiring.bonds)
    loose = tuple(place[contact] for contact in wiring.loose_contacts)
    links = [1 << one | 1 << other for one, other in [*zip(a, b, strict=True), *bonds]]
    needed = 0
    for link in links:
        needed |= link
    return WiringPlan(
        wiring=wiring,
        names=tuple(number),
        a=a,
        b=b,
        bonds=bonds,
        bond_names=tuple(bond.later for bond in wiring.bonds),
        loose=loose,
        split=len(wiring.contacts("A")),
        partner=_partners(wiring, number),
        crossings=(*_crossings(wiring, number, lanes=True), *_crossings(wiring, number, lanes=False)),
        tangled=len(set(a)) < len(a) or len(set(b)) < len(b) or _bonds_reach_two(bonds, set(loose)),
        junctions=tuple(contact for contact, count in sorted(Counter(_link_ends(a, b, bonds)).items()) if count > 1),
        good=frozenset(merge(links)),
        needed=needed,
    )


def _link_ends(a: tuple[int, ...], b: tuple[int, ...], bonds: tuple[tuple[int, int], ...]) -> Iterator[int]:
    yield from a
    yield from b
    for bond in bonds:
        yield from bond


def _bonds_reach_two(bonds: tuple[tuple[int, int], ...], loose: set[int]) -> bool:
    ends = [contact for bond in bonds for contact in bond]
    return len(set(ends)) < len(ends) or any(not loose.intersection(bond) for bond in bonds)


def _partners(wiring: Wiring, number: dict[str, int]) -> dict[int, int]:
    partner = {}
    for one, other in wiring.pairs.values():
        partner[number[one.name]] = number[other.name]
        partner[number[other.name]] = number[one.name]
    return partner


def _crossings(wiring: Wiring, number: dict[str, int], *, lanes: bool) -> list[Crossing]:
    fault_class: Faulty = FaultClass.CROSSED_LANES if lanes else FaultClass.CROSSED_PAIRS
    groups = wiring.lanes if lanes else wiring.pairs
    crossings = []
    for one, other in combinations(groups, 2):
        if _roles(groups[one]) == _roles(groups[other]):
            members = sorted(number[wire.name] for wire in (*groups[one], *groups[other]))
            names = tuple(wiring.conductors[member].name for member in members)
            fault = Fault(fault_class, names, lanes=(one, other) if lanes else None)
            swaps = tuple((number[x], number[y]) for x, y in exchanged(wiring, fault))
            crossings.append(Crossing(fault, swaps, (RANK[fault_class], *members)))
    return sorted(crossings, key=lambda crossing: crossing.order)


def _roles(wires: tuple[Conductor, ...]) -> list[str]:
    return sorted(wire.role for wire in wires)
