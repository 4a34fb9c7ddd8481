"""The parts of a drawing (lanes, or pairs, and the rest), each drawn in full or folded to a line. Pure."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from service.drawing.findings import Findings, LineKind
from service.wiring.wirings import SHELL, Conductor, Wiring, connector_of, is_shell, lanes_of


@dataclass(frozen=True, slots=True)
class DrawnRow:
    """A line of a drawing: a conductor between its two contacts, or two bare contacts side by side."""

    a: str | None
    b: str | None
    wire: Conductor | None = None


@dataclass(frozen=True, slots=True)
class DrawnPart:
    """A lane, a pair, the rest (no lane), or a whole single line (no name)."""

    lane: str
    name: str
    rows: tuple[DrawnRow, ...]

    @property
    def wires(self) -> tuple[Conductor, ...]:
        """Its conductors."""
        return tuple(row.wire for row in self.rows if row.wire)

    @property
    def bare(self) -> tuple[str, ...]:
        """Its contacts that belong to no conductor."""
        return tuple(c for row in self.rows if row.wire is None for c in (row.a, row.b) if c)

    @property
    def names(self) -> frozenset[str]:
        """Its conductors by name, and every contact."""
        ends = {contact for row in self.rows for contact in (row.a, row.b) if contact}
        return frozenset({wire.name for wire in self.wires} | ends)


def parts_of(wiring: Wiring) -> list[DrawnPart]:
    """The wiring lane by lane, or pair by pair; bare contacts go with the lane that has their connector to itself."""
    lanes = lanes_of(wiring)
    if "" in lanes:
        return [_part("", "", wiring.conductors, wiring.loose_contacts)]
    word = "Lane" if len(wiring.lanes) > 1 else "Pair"
    held = [wire for wires in lanes.values() for wire in wires]
    left = list(wiring.loose_contacts)
    parts = []
    for lane, wires in lanes.items():
        others = {_plug(contact) for wire in held if wire not in wires for contact in (wire.a, wire.b)}
        own = {_plug(contact) for wire in wires for contact in (wire.a, wire.b)} - others
        mine = [contact for contact in left if _plug(contact) in own]
        left = [contact for contact in left if contact not in mine]
        parts.append(_part(lane, f"{word} {lane}", wires, mine))
    rest = [wire for wire in wiring.conductors if wire not in held]
    return parts + ([_part("", _rest_name(rest), rest, left)] if rest or left else [])


def needs_drawing(part: DrawnPart, findings: Findings) -> bool:
    """Whether this part must be drawn in full: a fault names it, or only some of it was tested."""
    states = {findings.wires[wire.name].kind is LineKind.UNTESTED for wire in part.wires}
    return not part.name or len(states) > 1 or bool(part.names & findings.names)


def folded_words(part: DrawnPart, findings: Findings) -> str:
    """A word or two about a part that needs no drawing; empty where there is nothing to say."""
    missed = [contact for contact in part.bare if contact in findings.untested]
    if any(findings.wires[wire.name].kind is LineKind.UNTESTED for wire in part.wires):
        return "not tested"
    bare = ""
    if missed:
        what = "shell" if all(map(is_shell, missed)) else "contact"
        bare = f"{what}{'s' * (len(missed) > 1)} not tested"
    return ", ".join(filter(None, ("good" if part.wires else "", bare)))


def _rest_name(wires: Sequence[Conductor]) -> str:
    return "Screen" if [wire.name for wire in wires] == [SHELL] else "Rest"


def _part(lane: str, name: str, wires: Sequence[Conductor], bare: Iterable[str]) -> DrawnPart:
    ends: dict[str, list[str]] = {"A": [], "B": []}
    for contact in bare:
        ends[contact[0]].append(contact)
    rows = [DrawnRow(wire.a, wire.b, wire) for wire in wires]
    return DrawnPart(lane, name, (*rows, *_side_by_side(ends["A"], ends["B"])))


def _side_by_side(a: list[str], b: list[str]) -> list[DrawnRow]:
    """Bare contacts of both ends in rows: those of one name beside each other, then the others."""
    both = {contact[1:] for contact in a} & {contact[1:] for contact in b}
    rows = [DrawnRow(contact, f"B{contact[1:]}") for contact in a if contact[1:] in both]
    alone = zip_longest(*([c for c in end if c[1:] not in both] for end in (a, b)))
    return rows + [DrawnRow(one, other) for one, other in alone]


def _plug(contact: str) -> tuple[str, int | None]:
    return contact[0], connector_of(contact)
