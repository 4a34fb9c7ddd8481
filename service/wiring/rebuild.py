"""Rebuilding a cable from an explanation: start from the wiring, do to it what the faults say, and see what conducts.

The diagnosis is held to this: an explanation counts only if the rebuilt cable gives the readings, contact for
contact. The steps are those of the published procedure: swaps, then cuts, then shorts.
"""

from collections.abc import Iterable, Mapping, Sequence

from service.wiring.faults import RANK, SWAPS, Fault, FaultClass
from service.wiring.readings import Readings, merge
from service.wiring.wirings import ENDS, Conductor, Wiring


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
    if fault.landings is not None:
        seats.update(fault.landings)
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
