"""The faults of a cable: their classes, what each costs, the order in which they are listed, and rebuilding from them.

The sections follow the published contract of `coilbook diagnose`: the classes; the cost of an explanation; one
fault; the order and the preference among explanations of equal cost; and the check, which rebuilds the cable from
its faults: swaps first, then cuts, then shorts. An explanation counts only if the rebuilt cable reads exactly as the
cable on the bench did, contact for contact.

Whatever holds something for each class is a `match` that ends in `assert_never`, or sorts the rest into a type, so
that the type checker refuses code that leaves a class out.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Any, Final, Literal, TypeAlias, assert_never

from service.wiring.wirings import ENDS, Conductor, Readings, Wiring, merge


class FaultClass(StrEnum):
    """What a test can find, in the order in which it is listed: the faults, and `flexed`, which is a note on a test."""

    OPEN = "open"
    SHORT = "short"
    REVERSED_PAIR = "reversed_pair"
    CROSSED_PAIRS = "crossed_pairs"
    CROSSED_LANES = "crossed_lanes"
    MISWIRE = "miswire"
    SPLIT_PAIR = "split_pair"
    HIGH_RESISTANCE = "high_resistance"
    INTERMITTENT = "intermittent"
    DAMAGE = "damage"
    FLEXED = "flexed"


ByReadings: TypeAlias = Literal[
    FaultClass.OPEN,
    FaultClass.SHORT,
    FaultClass.REVERSED_PAIR,
    FaultClass.CROSSED_PAIRS,
    FaultClass.CROSSED_LANES,
    FaultClass.MISWIRE,
]
"""What the readings of a continuity test at both ends can prove."""

ByEvidence: TypeAlias = Literal[
    FaultClass.SPLIT_PAIR, FaultClass.HIGH_RESISTANCE, FaultClass.INTERMITTENT, FaultClass.DAMAGE
]
"""Faults known from other evidence: no continuity reading can prove them absent or present."""

Note: TypeAlias = Literal[FaultClass.FLEXED]
"""What is noted of a test and is not a fault."""

Faulty: TypeAlias = Literal[ByReadings, ByEvidence]
EvidenceClass: TypeAlias = Literal[ByEvidence, Note]
"""What a person enters as evidence, besides the readings."""


def as_evidence(fault_class: FaultClass) -> EvidenceClass | None:
    """The class, if a person enters it as evidence; None if readings prove it."""
    match fault_class:
        case FaultClass.OPEN | FaultClass.SHORT | FaultClass.REVERSED_PAIR | FaultClass.CROSSED_PAIRS:
            return None
        case FaultClass.CROSSED_LANES | FaultClass.MISWIRE:
            return None
        case _:
            return fault_class


def as_faulty(fault_class: FaultClass) -> Faulty | None:
    """The class, if it is a fault; None if it is a note."""
    return None if fault_class is FaultClass.FLEXED else fault_class


def _swap_turn(fault_class: Faulty) -> int:
    """When a swap is applied to a cable that is rebuilt; 0 where no conductor lands where another belongs."""
    match fault_class:
        case FaultClass.CROSSED_LANES:
            return 1
        case FaultClass.CROSSED_PAIRS:
            return 2
        case FaultClass.REVERSED_PAIR:
            return 3
        case FaultClass.MISWIRE:
            return 4
        case FaultClass.OPEN | FaultClass.SHORT:
            return 0
        case FaultClass.SPLIT_PAIR | FaultClass.HIGH_RESISTANCE | FaultClass.INTERMITTENT | FaultClass.DAMAGE:
            return 0
        case _:
            assert_never(fault_class)


RANK: Final = {fault_class: rank for rank, fault_class in enumerate(FaultClass)}

FAULTS: Final = tuple(fault_class for fault_class in map(as_faulty, FaultClass) if fault_class)
"""The classes that are faults."""

EVIDENCE_CLASSES: Final = tuple(fault_class for fault_class in map(as_evidence, FaultClass) if fault_class)
"""The classes that a person enters as evidence."""

SWAPS: Final = tuple(sorted(filter(_swap_turn, FAULTS), key=_swap_turn))
"""The classes in which conductors land where others belong, in the order in which they are applied."""

BLIND_TO: Final = (FaultClass.SPLIT_PAIR, FaultClass.INTERMITTENT, FaultClass.HIGH_RESISTANCE)
"""What no continuity reading can prove absent, on any verdict."""


@dataclass(frozen=True, slots=True)
class Cost:
    """What a fault adds to an explanation: `each` for every conductor that it names, and `once`, whatever it names."""

    once: int
    each: int = 0

    def of(self, named: int) -> int:
        """The cost of a fault that names so many conductors."""
        return self.once + self.each * named


COSTS: Final[Mapping[Faulty, Cost]] = MappingProxyType(
    {
        FaultClass.OPEN: Cost(once=1),  # one break
        FaultClass.SHORT: Cost(once=-1, each=1),  # k conductors are joined by k - 1 touches
        FaultClass.REVERSED_PAIR: Cost(once=1),  # one mistake: two wires of a pair exchanged
        FaultClass.CROSSED_PAIRS: Cost(once=1),  # one mistake: a whole pair taken for another
        FaultClass.CROSSED_LANES: Cost(once=1),  # one mistake: a whole lane taken for another
        FaultClass.MISWIRE: Cost(once=-1, each=1),  # a cycle of k conductors takes k - 1 exchanges of two
    }
)
"""The cost of each class that readings prove: how many single events it takes at the least to make the fault.

The search relies on these values: an exchange of two conductors costs 1 and can save two events at most.
"""

CHAIN_COST: Final = Cost(once=0, each=1)
"""The cost of a chain, the miswire that ends on a contact of no conductor: every conductor of it had to be moved."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a cable, as the test log keeps it.

    `conductors` names conductors, and contacts that no conductor is on, in the wiring's order. `end` is "A" or
    "B" where the readings prove it, else None. `lanes` only on crossed lanes; `destinations` only on a miswire:
    pairs of a conductor and the contact where it goes, at end B, or at `end` for a chain of which one wire
    sits on a contact that belongs to no conductor.
    """

    fault_class: Faulty
    conductors: tuple[str, ...]
    end: str | None = None
    lanes: tuple[str, ...] | None = None
    destinations: tuple[tuple[str, str], ...] | None = None

    @property
    def is_chain(self) -> bool:
        """Whether it is a miswire that ends on a contact of no conductor: a wire on the shell's tag."""
        return self.destinations is not None and self.end is not None

    @property
    def cost(self) -> int:
        """What this fault adds to an explanation, by `COSTS`; only for the classes that readings prove."""
        return (CHAIN_COST if self.is_chain else COSTS[self.fault_class]).of(len(self.conductors))

    def to_json(self) -> dict[str, Any]:
        """The fault as the JSON API and `coilbook diagnose` write it."""
        written: dict[str, Any] = {
            "class": self.fault_class.value,
            "conductors": list(self.conductors),
            "end": self.end,
        }
        if self.lanes is not None:
            written["lanes"] = list(self.lanes)
        if self.destinations is not None:
            written["map"] = dict(self.destinations)
        return written


Key = tuple[object, ...]
"""Compared with another key of its kind: the smaller is listed first, or preferred."""

ENDS_BY_PREFERENCE: Final = (None, "A", "B")
"""No end proven before A before B."""


def listing_key(wiring: Wiring, fault: Fault) -> Key:
    """Where a fault stands in an answer: by class, then by its first conductor; miswires of one then by end."""
    members = [wiring.name_order[name] for name in fault.conductors]
    end = ENDS_BY_PREFERENCE.index(fault.end)
    return RANK[fault.fault_class], members[0], end if fault.destinations else 0, members, end


def preference(wiring: Wiring, faults: Sequence[Fault], shells: int = 0, strays: int = 0) -> Key:
    """The tie-breaking rules: of two explanations of equal cost, the one with the smaller key is the answer.

    `faults` are in listing order. `shells` counts contacts named in shorts where a bonded conductor's name would do,
    `strays` chains that end on another connector than the one where they left a contact free. Crossed lanes are
    preferred to any other exchange that rebuilds the same cable.
    """
    classes = [fault.fault_class for fault in faults]
    swaps = sum(1 for fault_class in classes if fault_class not in (FaultClass.OPEN, FaultClass.SHORT))
    ends = [fault.end for fault in faults if fault.end is not None and not fault.is_chain]
    return (
        len(faults),
        len(set(classes)),
        swaps,
        shells,
        *_ends_key(ends),
        strays,
        swaps - classes.count(FaultClass.CROSSED_LANES),
        [_order_key(wiring, fault) for fault in faults],
    )


def preference_of_shorts(shorts: Sequence[tuple[str | None, tuple[int, ...]]], shells: int) -> Key:
    """`preference` of shorts alone, given as their ends and the places of their names in `Wiring.name_order`."""
    ends = [end for end, _ in shorts if end is not None]
    order = sorted((members, ENDS_BY_PREFERENCE.index(end)) for end, members in shorts)
    return len(shorts), shells, *_ends_key(ends), order


def _ends_key(ends: Sequence[str]) -> tuple[int, int]:
    return len(ends), ends.count("B")


def _order_key(wiring: Wiring, fault: Fault) -> Key:
    members = [wiring.name_order[name] for name in fault.conductors]
    goals = [wiring.position[contact] for _, contact in fault.destinations or ()]
    return RANK[fault.fault_class], members, goals, ENDS_BY_PREFERENCE.index(fault.end)


def rebuild(wiring: Wiring, faults: Iterable[Fault]) -> Readings:
    """What a full test of the cable would read if it had these faults."""
    faults = sorted(faults, key=lambda fault: RANK[fault.fault_class])
    seats = seats_of(wiring, faults)
    opened = {fault.conductors[0] for fault in faults if fault.fault_class is FaultClass.OPEN}
    bit = wiring.bit
    a_half, b_half = ({name: bit[contact] for name, contact in seats[end].items()} for end in ENDS)
    links = [a_half[name] | b_half[name] for name in a_half if name not in opened]
    links += [bit[bond.earlier] | bit[bond.later] for bond in wiring.bonds if bond.later not in opened]
    for fault in faults:
        if fault.fault_class is FaultClass.SHORT:
            for end, halves in (("A", a_half), ("B", b_half)):
                if fault.end in (None, end):
                    links.append(_joined(halves, bit, fault.conductors))
    return Readings(merge(links), (1 << len(bit)) - 1)


def explains(wiring: Wiring, faults: Iterable[Fault], readings: Readings) -> bool:
    """Whether the rebuilt cable, seen through the probed contacts, gives exactly these readings."""
    return rebuild(wiring, faults).within(readings.probed) == readings


def _joined(halves: dict[str, int], bit: Mapping[str, int], members: Sequence[str]) -> int:
    joined = 0
    for name in members:
        joined |= halves[name] if name in halves else bit[name]
    return joined


def seats_of(wiring: Wiring, faults: Sequence[Fault]) -> dict[str, dict[str, str]]:
    """The contact on which each conductor sits once every swap is made: by end, then by conductor."""
    seats = {
        "A": {wire.name: wire.a for wire in wiring.conductors},
        "B": {wire.name: wire.b for wire in wiring.conductors},
    }
    for swap in SWAPS:
        for fault in faults:
            if fault.fault_class is swap:
                _exchange(wiring, fault, seats[fault.end or "B"])
    return seats


def _exchange(wiring: Wiring, fault: Fault, seats: dict[str, str]) -> None:
    if fault.destinations is not None:
        seats.update(fault.destinations)
        return
    for one, other in exchanged(wiring, fault):
        seats[one], seats[other] = seats[other], seats[one]


def exchanged(wiring: Wiring, fault: Fault) -> list[tuple[str, str]]:
    """The conductors that a reversed pair, crossed pairs or crossed lanes exchange, two by two, role by role."""
    wires = [wiring.by_name[name] for name in fault.conductors]
    if fault.fault_class is FaultClass.REVERSED_PAIR:
        return [(wires[0].name, wires[1].name)]
    if fault.fault_class is FaultClass.CROSSED_LANES:
        return role_by_role([wire for wire in wires if wire.lane == wires[0].lane], wires)
    return role_by_role([wire for wire in wires if wire.pair == wires[0].pair], wires)


def role_by_role(one: Sequence[Conductor], wires: Sequence[Conductor]) -> list[tuple[str, str]]:
    """Each conductor of `one` with the conductor among the other `wires` that has its role, in order."""
    others = [wire for wire in wires if wire not in one]
    matched = []
    for wire in one:
        other = next(wire2 for wire2 in others if wire2.role == wire.role)
        others.remove(other)
        matched.append((wire.name, other.name))
    return matched
