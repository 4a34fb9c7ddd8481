"""Every single fault that a wiring can have and a continuity test could prove, and what kind of fault each is.

What a fault changes is left to `rebuild`; a fault that changes nothing (a short of conductors that share a contact)
is none.
"""

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import assert_never

from service.wiring.faults import ByEvidence, Fault, FaultClass, Faulty, rebuild
from service.wiring.wirings import Conductor, Wiring, connector_of, is_shell

_OPEN = {
    "shield": "an open shield",
    "hot": "an open hot conductor",
    "cold": "an open cold conductor",
    "single": "an open conductor",
}


def single_faults(wiring: Wiring) -> Iterator[Fault]:
    """All of them, by class; shorts of two, miswires of two conductors, and wires on contacts of none."""
    sound = rebuild(wiring, ())
    for faults_of in (_opens, _shorts, _reversed, _crossed_pairs, _crossed_lanes, _miswires):
        for fault in faults_of(wiring):
            if rebuild(wiring, [fault]) != sound:
                yield fault


def kind(wiring: Wiring, fault: Fault) -> str:
    """The kind of fault in words, for a list of what was not proven: "an open shield", "a short to a shell"."""
    held = [wiring.by_name[name] for name in fault.conductors if name in wiring.by_name]
    if fault.fault_class is FaultClass.OPEN:
        return _OPEN[held[0].role] if held else "a shell that is not joined to its contact"
    if fault.fault_class is FaultClass.SHORT:
        return _short(fault, held)
    if fault.is_chain:
        shell = any(is_shell(contact) for _, contact in fault.destinations or ())
        return "a wire on a shell" if shell else "a wire on an unused contact"
    if fault.fault_class is FaultClass.MISWIRE:
        roles = sorted({wire.role for wire in held}, key=("shield", "hot", "cold", "single").index)
        return f"{' and '.join(roles)} exchanged" if len(roles) > 1 else f"two {roles[0]} conductors exchanged"
    return any_of(fault.fault_class)


def any_of(fault_class: Faulty) -> str:
    """A class in words, whatever conductors it holds."""
    match fault_class:
        case FaultClass.OPEN:
            return "an open conductor"
        case FaultClass.SHORT:
            return "a short"
        case FaultClass.REVERSED_PAIR:
            return "a reversed pair"
        case FaultClass.CROSSED_PAIRS:
            return "crossed pairs"
        case FaultClass.CROSSED_LANES:
            return "crossed lanes"
        case FaultClass.MISWIRE:
            return "exchanged conductors"
        case FaultClass.SPLIT_PAIR | FaultClass.HIGH_RESISTANCE | FaultClass.INTERMITTENT | FaultClass.DAMAGE:
            return _any_evidence(fault_class)
        case _:
            assert_never(fault_class)


def _any_evidence(fault_class: ByEvidence) -> str:
    match fault_class:
        case FaultClass.SPLIT_PAIR:
            return "a split pair"
        case FaultClass.INTERMITTENT:
            return "a contact that comes and goes"
        case FaultClass.HIGH_RESISTANCE:
            return "high resistance"
        case FaultClass.DAMAGE:
            return "damage"
        case _:
            assert_never(fault_class)


def _short(fault: Fault, held: Sequence[Conductor]) -> str:
    if len(held) < len(fault.conductors):
        bare = next(name for name in fault.conductors if name not in {wire.name for wire in held})
        return "a short to a shell" if is_shell(bare) else "a short to an unused contact"
    if len({(wire.lane, wire.pair) for wire in held if wire.role != "shield"}) > 1:
        return "a short between two lines"
    roles = sorted({_role(wire) for wire in held}, key=("shield", "hot", "cold", "conductor").index)
    return f"a short between {' and '.join(roles)}" if len(roles) > 1 else f"a short between two {roles[0]}s"


def _role(wire: Conductor) -> str:
    return "conductor" if wire.role == "single" else wire.role


def _opens(wiring: Wiring) -> Iterator[Fault]:
    for wire in wiring.conductors:
        yield Fault(FaultClass.OPEN, (wire.name,))
    for bond in wiring.bonds:
        yield Fault(FaultClass.OPEN, (bond.later,), bond.end)


def _shorts(wiring: Wiring) -> Iterator[Fault]:
    for one, other in combinations(wiring.conductors, 2):
        yield Fault(FaultClass.SHORT, (one.name, other.name))
    for wire, contact in _side_by_side(wiring):
        yield Fault(FaultClass.SHORT, (wire.name, contact), contact[0])


def _side_by_side(wiring: Wiring) -> Iterator[tuple[Conductor, str]]:
    """Each contact that belongs to no conductor, with each conductor that has a contact in its connector."""
    for contact in wiring.loose_contacts:
        for wire in wiring.conductors:
            near = wire.a if contact[0] == "A" else wire.b
            if connector_of(near) == connector_of(contact):
                yield wire, contact


def _reversed(wiring: Wiring) -> Iterator[Fault]:
    for one, other in wiring.pairs.values():
        yield Fault(FaultClass.REVERSED_PAIR, (one.name, other.name))


def _crossed_pairs(wiring: Wiring) -> Iterator[Fault]:
    for one, other in combinations(wiring.pairs.values(), 2):
        if _roles(one) == _roles(other):
            yield Fault(FaultClass.CROSSED_PAIRS, _names(wiring, [*one, *other]))


def _crossed_lanes(wiring: Wiring) -> Iterator[Fault]:
    for (lane, one), (other_lane, other) in combinations(wiring.lanes.items(), 2):
        if _roles(one) == _roles(other):
            names = _names(wiring, [*one, *other])
            yield Fault(FaultClass.CROSSED_LANES, names, lanes=(lane, other_lane))


def _miswires(wiring: Wiring) -> Iterator[Fault]:
    for one, other in combinations(wiring.conductors, 2):
        if one.pair is None or one.pair != other.pair:
            destinations = ((one.name, other.b), (other.name, one.b))
            yield Fault(FaultClass.MISWIRE, (one.name, other.name), destinations=destinations)
    for wire, contact in _side_by_side(wiring):
        yield Fault(FaultClass.MISWIRE, (wire.name,), contact[0], destinations=((wire.name, contact),))


def _roles(wires: Sequence[Conductor]) -> list[str]:
    return sorted(wire.role for wire in wires)


def _names(wiring: Wiring, wires: Sequence[Conductor]) -> tuple[str, ...]:
    return tuple(wire.name for wire in wiring.conductors if wire in wires)
