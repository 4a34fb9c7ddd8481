"""A drawing as text, for people who cannot see it or would rather read. Pure."""

from collections.abc import Iterable, Iterator, Sequence

from service.drawing.findings import Findings, FoundConductor, LineKind
from service.drawing.parts import DrawnPart
from service.wiring.faults import SWAPS
from service.wiring.naming import conductor_words, contact_words, listed, sentence, title
from service.wiring.wirings import Conductor, Wiring, is_shell


def describe(wiring: Wiring, seen: Findings, parts: Sequence[DrawnPart]) -> list[str]:
    """The result of a test: the faults, where stray conductors end, what was not tested, what is good."""
    stray = [wire for wire in wiring.conductors if _is_stray(wire, seen.wires[wire.name])]
    return [
        *(f"{title(wiring, fault)}." for fault in seen.faults),
        *(_lands(wiring, wire, seen.wires[wire.name]) for wire in stray),
        *_gathered("Not tested", [*_conductors(wiring, seen, parts, LineKind.UNTESTED), *_untested(wiring, seen)]),
        *_gathered("Good", _conductors(wiring, seen, parts, LineKind.GOOD)),
    ]


def wire_in_words(wiring: Wiring, wire: Conductor, seen: Findings) -> str:
    """One conductor in a sentence or two."""
    conductor, called = seen.wires[wire.name], sentence(conductor_words(wiring, wire.name))
    if conductor.kind is LineKind.PLANNED:
        return _goes(wiring, wire)
    if conductor.kind is LineKind.UNTESTED:
        return f"{called} was not tested."
    if conductor.kind is LineKind.GOOD:
        return f"{called} is good."
    stray = [_lands(wiring, wire, conductor)] if _is_stray(wire, conductor) else []
    plain = [fault for fault in conductor.faults if not stray or fault.fault_class not in SWAPS]
    return " ".join([*stray, *(f"{title(wiring, fault)}." for fault in plain)])


def _goes(wiring: Wiring, wire: Conductor) -> str:
    called = sentence(conductor_words(wiring, wire.name))
    return f"{called} goes from {contact_words(wire.a)} to {contact_words(wire.b)}."


def _is_stray(wire: Conductor, conductor: FoundConductor) -> bool:
    return (conductor.starts, conductor.lands) != (wire.a, wire.b)


def _lands(wiring: Wiring, wire: Conductor, conductor: FoundConductor) -> str:
    called = sentence(conductor_words(wiring, wire.name))
    right = [contact_words(wire.a)] if conductor.starts != wire.a else []
    if conductor.lands != wire.b:
        right.append(contact_words(wire.b) if right else contact_words(wire.b).removesuffix(" at end B"))
    return (
        f"{called} goes from {contact_words(conductor.starts)} to {contact_words(conductor.lands)}; it belongs on "
        f"{listed(right)}."
    )


def _conductors(wiring: Wiring, seen: Findings, parts: Iterable[DrawnPart], kind: LineKind) -> Iterator[str]:
    """The names of these conductors; whole parts by the part's name."""
    for part in parts:
        alike = [wire for wire in part.wires if seen.wires[wire.name].kind is kind]
        if part.lane and len(alike) == len(part.wires):
            yield part.name[0].lower() + part.name[1:]
        else:
            yield from (conductor_words(wiring, wire.name) for wire in alike)


def _untested(wiring: Wiring, seen: Findings) -> Iterator[str]:
    """Contacts that were not tested, but for those of conductors that count as such; shells of one end together."""
    faulty = [wire for wire in wiring.conductors if seen.wires[wire.name].faults]
    own = {*wiring.loose_contacts, *(contact for wire in faulty for contact in (wire.a, wire.b))}
    missed = [contact for contact in wiring.all_contacts if contact in own & seen.untested]
    for end in "AB":
        here = [contact for contact in missed if contact[0] == end]
        shells = [contact for contact in here if is_shell(contact)]
        yield from (contact_words(contact) for contact in here if contact not in shells)
        if len(shells) > 1:
            yield f"{len(shells)} shells at end {end}"
        else:
            yield from map(contact_words, shells)


def _gathered(what: str, those: Iterable[str]) -> Iterator[str]:
    if those := list(those):
        yield f"{what}: {listed(those)}."
