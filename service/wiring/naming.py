"""What people at a truck call the parts of a wiring: conductors, contacts, lanes, connectors."""

from collections.abc import Sequence
from enum import StrEnum

from service.kit.problems import invalid
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


def listed(words: Sequence[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def sentence(words: str) -> str:
    """The words with a capital letter in front."""
    return words[:1].upper() + words[1:]


def _part(wiring: Wiring, conductor: Conductor) -> str:
    role = conductor.role
    if conductor.name in _PLUG_PARTS:
        role = f"{_PLUG_PARTS[conductor.name]}, {role}"
    if conductor.lane is not None:
        return f"{role} of lane {conductor.lane}"
    if conductor.pair is not None and len(wiring.pairs) > 1:
        return f"{role} of pair {conductor.pair}"
    return role
