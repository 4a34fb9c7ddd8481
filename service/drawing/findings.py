"""What a drawing has to show: the state of each conductor and contact, and the few words beside it. Pure."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final, assert_never

from service.wiring.faults import FAULTS, RANK, SWAPS, Fault, FaultClass, Faulty, seats_of
from service.wiring.wirings import Bond, Conductor, Readings, Wiring, is_shell, names

LETTERS: Final = 5
"""The most letters of a name in a drawing."""

_LISTED: Final = 10
"""The most letters of a list of names; a longer one becomes a number."""


class LineKind(StrEnum):
    """The state of a conductor, which determines the look of its line."""

    GOOD = "good"
    OPEN = "open"
    ELSEWHERE = "elsewhere"  # it lands where another belongs
    SHORT = "short"  # sound in itself, but it touches another
    UNSURE = "unsure"  # evidence other than the readings is against it
    UNTESTED = "untested"
    PLANNED = "planned"  # there is no test: this is how it should be


def kind_of(fault: Faulty) -> LineKind:
    """What the line of a conductor with such a fault looks like."""
    match fault:
        case FaultClass.OPEN:
            return LineKind.OPEN
        case FaultClass.SHORT:
            return LineKind.SHORT
        case FaultClass.REVERSED_PAIR | FaultClass.CROSSED_PAIRS | FaultClass.CROSSED_LANES | FaultClass.MISWIRE:
            return LineKind.ELSEWHERE
        case FaultClass.SPLIT_PAIR | FaultClass.HIGH_RESISTANCE | FaultClass.INTERMITTENT | FaultClass.DAMAGE:
            return LineKind.UNSURE
        case _:
            assert_never(fault)


SIGNS: Final = frozenset(fault for fault in FAULTS if kind_of(fault) in (LineKind.OPEN, LineKind.UNSURE))
"""The classes that leave a sign on the conductor's own line."""

_FIRST: Final = (LineKind.ELSEWHERE, LineKind.OPEN, LineKind.UNSURE, LineKind.SHORT)
"""Which kind shows on a conductor with several faults."""


class Tone(StrEnum):
    """How a word is written."""

    GOOD = "good"
    FAULT = "fault"
    UNTESTED = "untested"
    QUIET = "quiet"


@dataclass(frozen=True, slots=True)
class SideWord:
    """A few words beside a line or a contact."""

    text: str
    tone: Tone


@dataclass(frozen=True, slots=True)
class FoundConductor:
    """The state of a conductor: the contacts where it starts and ends, its labels, and the faults that name it."""

    kind: LineKind
    starts: str
    lands: str
    words: tuple[SideWord, ...]
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, slots=True)
class Join:
    """Conductors and bare contacts that a short joins; `end` None: somewhere along the cable."""

    end: str | None
    members: tuple[str, ...]


@dataclass(frozen=True)
class Findings:
    """Everything that a drawing shows: conductors by name, words of bare contacts and bonds by contact.

    `untested` are the contacts that were not probed, `parted` the later contacts of bonds that were found missing.
    """

    wires: Mapping[str, FoundConductor]
    contact_words: Mapping[str, tuple[SideWord, ...]]
    untested: frozenset[str]
    parted: frozenset[str]
    joins: tuple[Join, ...]
    faults: tuple[Fault, ...]
    planned: bool = False

    @property
    def names(self) -> frozenset[str]:
        """Conductors with a fault, bare contacts that faults name, and contacts where others land."""
        wires = {name for name, conductor in self.wires.items() if conductor.faults}
        landed = {contact for name in wires for contact in (self.wires[name].starts, self.wires[name].lands)}
        return frozenset(wires | landed | self.parted | {name for join in self.joins for name in join.members})


def plan_of(wiring: Wiring) -> Findings:
    """The wiring as it should be."""
    wires = {
        wire.name: FoundConductor(LineKind.PLANNED, wire.a, wire.b, (SideWord(wire.role, Tone.QUIET),))
        for wire in wiring.conductors
    }
    words = {bond.later: (_bonded(wiring, bond),) for bond in wiring.bonds}
    return Findings(wires, _with_idle(wiring, words, frozenset()), frozenset(), frozenset(), (), (), True)


def findings(wiring: Wiring, readings: Readings | None, faults: Sequence[Fault]) -> Findings:
    """The result of a test. Readings of None: nothing was read, there is only evidence."""
    probed = readings.probed if readings else 0
    untested = frozenset(names(wiring, ~probed & (1 << len(wiring.all_contacts)) - 1))
    faults = sorted(faults, key=lambda fault: RANK[fault.fault_class])
    named = [fault for fault in faults if fault.conductors]
    seats = seats_of(wiring, named)
    wires = {
        wire.name: _findings(wiring, wire, (seats["A"][wire.name], seats["B"][wire.name]), named, untested)
        for wire in wiring.conductors
    }
    parted = {fault.conductors[0] for fault in named if fault.fault_class is FaultClass.OPEN} - set(wires)
    return Findings(
        wires=wires,
        contact_words=_with_idle(wiring, _contact_words(wiring, named, wires, untested, parted), untested),
        untested=untested,
        parted=frozenset(parted),
        joins=tuple(_joins(wiring, named)),
        faults=tuple(faults),
    )


def alone(wiring: Wiring, fault: Fault) -> Findings:
    """One fault by itself; everything that it does not name is shown as it should be."""
    plan = plan_of(wiring)
    seen = findings(wiring, Readings((), (1 << len(wiring.all_contacts)) - 1), [fault])
    wires = {name: conductor if conductor.faults else plan.wires[name] for name, conductor in seen.wires.items()}
    return replace(seen, wires=wires)


def short(contact: str) -> str:
    """A contact's name as a drawing shows it: without its end, and cut if it is long."""
    return cut(contact[1:])


def cut(name: str) -> str:
    """A name, or its beginning if it is long: own wirings may have any."""
    return name if len(name) <= LETTERS else name[: LETTERS - 1] + "…"


def _bonded(wiring: Wiring, bond: Bond) -> SideWord:
    what = "shell " if is_shell(bond.later) and bond.later in wiring.loose_contacts else ""
    return SideWord(f"{what}joined to {short(bond.earlier)}", Tone.QUIET)


def _idle(contact: str) -> str:
    return "shell" if is_shell(contact) else "no wire"


def _findings(
    wiring: Wiring,
    wire: Conductor,
    seats: tuple[str, str],
    faults: Sequence[Fault],
    untested: frozenset[str],
) -> FoundConductor:
    own = tuple(fault for fault in faults if wire.name in fault.conductors)
    if own:
        kind = min((kind_of(fault.fault_class) for fault in own), key=_FIRST.index)
        words = [SideWord(text, Tone.FAULT) for text in _fault_words(wiring, wire, seats, own)]
        return FoundConductor(kind, *seats, tuple(words), own)
    if {wire.a, wire.b} & untested:
        return FoundConductor(LineKind.UNTESTED, *seats, (SideWord(_aria_text(wire, "not tested"), Tone.UNTESTED),))
    return FoundConductor(LineKind.GOOD, *seats, (SideWord(_aria_text(wire, "good"), Tone.GOOD),))


def _aria_text(wire: Conductor, words: str) -> str:
    return words if wire.role == "single" else f"{wire.role}, {words}"


def _fault_words(wiring: Wiring, wire: Conductor, seats: tuple[str, str], own: Sequence[Fault]) -> Iterator[str]:
    swaps = [fault for fault in own if fault.fault_class in SWAPS]
    starts, lands = seats
    at_b = [fault for fault in swaps if fault.end != "A"]
    if starts != wire.a:
        yield f"{short(starts)} ← {_fault_word(wiring, wire, swaps[-1])}"
    if at_b:
        yield f"→ {short(lands)} {_fault_word(wiring, wire, at_b[0])}"
    for fault in own:
        words = _fault_word(wiring, wire, fault)
        if fault.fault_class is FaultClass.OPEN and not swaps:
            yield _aria_text(wire, words)
        elif fault.fault_class not in SWAPS:
            yield words


def _fault_word(wiring: Wiring, wire: Conductor, fault: Fault) -> str:
    at = f" at {fault.end}" if fault.end else ""
    match fault.fault_class:
        case FaultClass.OPEN:
            return f"open{at}"
        case FaultClass.SHORT:
            return _touches(wiring, wire.name, fault)
        case FaultClass.REVERSED_PAIR:
            return "reversed"
        case FaultClass.CROSSED_PAIRS | FaultClass.CROSSED_LANES:
            return "crossed"
        case FaultClass.MISWIRE:
            return "miswired"
        case FaultClass.SPLIT_PAIR:
            return "split pair"
        case FaultClass.HIGH_RESISTANCE:
            return "resists"
        case FaultClass.INTERMITTENT:
            return "comes and goes"
        case FaultClass.DAMAGE:
            return f"damaged{at}"
        case _:
            assert_never(fault.fault_class)


def _touches(wiring: Wiring, name: str, fault: Fault) -> str:
    others = [other for other in fault.conductors if other != name]
    called = list(dict.fromkeys(_called(wiring, name, other) for other in others))
    listed = ", ".join(called)
    return f"touches {listed if len(listed) <= _LISTED else f'{len(others)} others'}"


def _called(wiring: Wiring, name: str, other: str) -> str:
    """A conductor goes by its number; a bare contact by its own, and its end where the other is a bare one too."""
    if other in wiring.by_name:
        return cut(other)
    return short(other) if name in wiring.by_name or name[0] == other[0] else f"{short(other)} at {other[0]}"


def _contact_words(
    wiring: Wiring,
    faults: Sequence[Fault],
    wires: Mapping[str, FoundConductor],
    untested: frozenset[str],
    parted: set[str],
) -> dict[str, tuple[SideWord, ...]]:
    words: dict[str, tuple[SideWord, ...]] = {}
    for bond in wiring.bonds:
        if bond.later in parted:
            words[bond.later] = (SideWord(f"not joined to {short(bond.earlier)}", Tone.FAULT),)
        elif not {bond.earlier, bond.later} & untested:
            words[bond.later] = (_bonded(wiring, bond),)
    for fault in faults:
        if fault.fault_class is FaultClass.SHORT:
            for bare in (name for name in fault.conductors if name not in wiring.by_name):
                words[bare] = (*words.get(bare, ()), SideWord(_touches(wiring, bare, fault), Tone.FAULT))
    for contact, note in _changed_hands(wiring, wires):
        words[contact] = (*words.get(contact, ()), SideWord(note, Tone.FAULT))
    return words


def _changed_hands(wiring: Wiring, wires: Mapping[str, FoundConductor]) -> Iterator[tuple[str, str]]:
    """Contacts of no conductor with a wire on them, and contacts that lost theirs."""
    held = {seat: name for name, conductor in wires.items() for seat in (conductor.starts, conductor.lands)}
    for contact in wiring.all_contacts:
        bare = contact in wiring.loose_contacts
        if bare and contact in held:
            yield contact, f"holds {cut(held[contact])}"
        elif not bare and contact not in held:
            yield contact, f"{short(contact)} has no wire"


def _with_idle(
    wiring: Wiring, words: Mapping[str, tuple[SideWord, ...]], untested: frozenset[str]
) -> dict[str, tuple[SideWord, ...]]:
    """Words for contacts in no use as well."""
    every = dict(words)
    for contact in wiring.loose_contacts:
        if contact in untested:
            every[contact] = (*every.get(contact, ()), SideWord(f"{_idle(contact)}, not tested", Tone.UNTESTED))
        else:
            every.setdefault(contact, (SideWord(_idle(contact), Tone.QUIET),))
    return every


def _joins(wiring: Wiring, faults: Sequence[Fault]) -> Iterator[Join]:
    """Where the joints of shorts are drawn.

    With no end proven, one joint stands for both, midway; two where a member is cut, or where a bare contact at either
    end takes part, since then each half is joined by itself.
    """
    opened = [fault.conductors[0] for fault in faults if fault.fault_class is FaultClass.OPEN]
    for fault in faults:
        if fault.fault_class is not FaultClass.SHORT:
            continue
        held = tuple(name for name in fault.conductors if name in wiring.by_name)
        bare = {end: tuple(n for n in fault.conductors if n not in held and n[0] == end) for end in "AB"}
        if fault.end:
            yield Join(fault.end, held + bare[fault.end])
        elif set(opened) & set(held) or (held and bare["A"] and bare["B"]):
            yield from (Join(end, held + bare[end]) for end in "AB" if len(held + bare[end]) > 1)
        elif bare["A"] and bare["B"]:
            yield Join(None, (bare["A"][0], bare["B"][0]))
            yield from (Join(end, bare[end]) for end in "AB" if len(bare[end]) > 1)
        else:
            yield Join("A" if bare["A"] else "B" if bare["B"] else None, fault.conductors)
