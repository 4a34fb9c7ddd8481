"""What people at a truck call the parts of a wiring and its faults: conductors, contacts, connectors, one fault."""

from collections.abc import Sequence
from enum import StrEnum
from itertools import groupby
from typing import assert_never

from service.kit.problems import invalid
from service.wiring.faults import ByEvidence, Fault, FaultClass, Faulty
from service.wiring.wirings import SHELL, Conductor, Wiring, connector_of, is_shell

_PLUG_PARTS = {"T": "tip", "R": "ring", "S": "sleeve"}


class Connector(StrEnum):
    """The connectors that advice knows how to open."""

    THREE = "three-contact connector"
    PLUG = "quarter-inch plug"
    D25 = "25-way D connector"
    EIGHT = "8p8c plug"
    OTHER = "connector"


def connector_type(wiring: Wiring, contact: str) -> Connector:
    """The kind of connector that holds `contact`, told by the contacts beside it."""
    beside = {
        other[1:].rpartition(".")[2]
        for other in wiring.contacts(contact[0])
        if connector_of(other) == connector_of(contact) and not is_shell(other)
    }
    known = {frozenset("123"): Connector.THREE, frozenset(_PLUG_PARTS): Connector.PLUG}
    if kind := known.get(frozenset(beside)):
        return kind
    return {25: Connector.D25, 8: Connector.EIGHT}.get(len(beside), Connector.OTHER)


def contact_words(contact: str) -> str:
    """`B3.2`: "contact 2 of connector 3 at end B"; `As`: "the shell at end A"; `BT`: "the tip at end B"."""
    number = connector_of(contact)
    name = contact[1:].rpartition(".")[2] if number is not None else contact[1:]
    if is_shell(contact):
        part = "the shell"
    elif name in _PLUG_PARTS:
        part = f"the {_PLUG_PARTS[name]}"
    else:
        part = f"contact {name}"
    return f"{part}{'' if number is None else f' of connector {number}'} at end {contact[0]}"


def seat_words(contact: str) -> str:
    """Where a wire sits that does not belong there: "the shell's tag at end B", "contact 13 at end B"."""
    words = contact_words(contact)
    return words.replace("the shell", "the shell's tag", 1) if is_shell(contact) else words


def conductor_words(wiring: Wiring, name: str) -> str:
    """`2`: "conductor 2 (hot)", "conductor 24 (hot of lane 1)", "the screen"; a bare contact as it is called.

    Raises `Invalid` for a name that the wiring lacks.
    """
    conductor = wiring.by_name.get(name)
    if conductor is None:
        if name not in wiring.position:
            raise invalid("conductors", f"This wiring has no conductor or contact “{name}”.")
        return contact_words(name)
    if name == SHELL:
        return "the screen"
    return f"conductor {name} ({_part(wiring, conductor)})"


def joint_words(contact: str) -> str:
    """`B3.2`: "contact 2 of connector 3", where the end is known."""
    return contact_words(contact).partition(" at end ")[0]


def listed(words: Sequence[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def sentence(words: str) -> str:
    """The words with a capital letter in front."""
    return words[:1].upper() + words[1:]


def title(wiring: Wiring, fault: Fault) -> str:
    """The fault in one line: "Conductor 2 (hot) is open"."""
    names = [conductor_words(wiring, name) for name in fault.conductors]
    at = f" at end {fault.end}" if fault.end else ""
    return sentence(_title(wiring, fault, names, at) if names else f"{_class_words(fault.fault_class)}{at}")


def _title(wiring: Wiring, fault: Fault, names: Sequence[str], at: str) -> str:
    match fault.fault_class:
        case FaultClass.OPEN:
            bonded = [bond for bond in wiring.bonds if bond.later == fault.conductors[0]]
            if bonded and fault.conductors[0] not in wiring.by_name:
                return f"{names[0]} is not joined to {joint_words(bonded[0].earlier)}"
            return f"{names[0]} is open{at}"
        case FaultClass.SHORT:
            return f"{listed(names)} touch{at}"
        case FaultClass.REVERSED_PAIR:
            return f"{listed(names)} are swapped"
        case FaultClass.CROSSED_PAIRS:
            return _title_of_crossed_pairs(wiring, fault)
        case FaultClass.CROSSED_LANES:
            return f"lanes {listed(fault.lanes or ())} are crossed"
        case FaultClass.MISWIRE:
            return _title_of_miswire(wiring, fault, names)
        case FaultClass.SPLIT_PAIR | FaultClass.HIGH_RESISTANCE | FaultClass.INTERMITTENT | FaultClass.DAMAGE:
            return f"{_evidence_words(fault.fault_class)}{at}: {listed(names)}"
        case _:
            assert_never(fault.fault_class)


def _title_of_crossed_pairs(wiring: Wiring, fault: Fault) -> str:
    pairs = groupby(
        sorted(fault.conductors, key=lambda name: wiring.by_name[name].pair or ""),
        key=lambda name: wiring.by_name[name].pair,
    )
    one, other = (f"pair {pair} ({'/'.join(members)})" for pair, members in pairs)
    return f"{one} and {other} are crossed"


def _title_of_miswire(wiring: Wiring, fault: Fault, names: Sequence[str]) -> str:
    if fault.is_chain and fault.destinations and len(fault.destinations) == 1:
        return f"{names[0]} is on {seat_words(fault.destinations[0][1])}"
    destinations = [
        f"{conductor_words(wiring, name)} {'is' if fault.end else 'ends'} on {seat_words(contact)}"
        for name, contact in fault.destinations or ()
    ]
    return f"miswired: {listed(destinations or names)}"


def _class_words(fault_class: Faulty) -> str:
    """A class in words, where no conductor is known."""
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
            return "a miswire"
        case FaultClass.SPLIT_PAIR | FaultClass.HIGH_RESISTANCE | FaultClass.INTERMITTENT | FaultClass.DAMAGE:
            return _evidence_words(fault_class)
        case _:
            assert_never(fault_class)


def _evidence_words(fault_class: ByEvidence) -> str:
    match fault_class:
        case FaultClass.SPLIT_PAIR:
            return "split pair"
        case FaultClass.HIGH_RESISTANCE:
            return "high resistance"
        case FaultClass.INTERMITTENT:
            return "contact that comes and goes"
        case FaultClass.DAMAGE:
            return "damage"
        case _:
            assert_never(fault_class)


def _part(wiring: Wiring, conductor: Conductor) -> str:
    role = conductor.role
    if conductor.name in _PLUG_PARTS:
        role = f"{_PLUG_PARTS[conductor.name]}, {role}"
    if conductor.lane is not None:
        return f"{role} of lane {conductor.lane}"
    if conductor.pair is not None and len(wiring.pairs) > 1:
        return f"{role} of pair {conductor.pair}"
    return role
