"""Findings from the words that people write into a sheet about a fault. Pure.

A sheet has no readings. If the words prove which conductor it was ("pin 2 open"), they become the readings that a
cable with this fault gives; everything else becomes evidence with the words as its note, so that nothing is invented.

>>> from service.wiring.builtin import BUILTIN
>>> interpret_words("Pin 2 open at B", BUILTIN["xlr3"]).faults
(Fault(fault_class=<FaultClass.OPEN: 'open'>, conductors=('2',), end=None, lanes=None, destinations=None),)
>>> interpret_words("crackles when bent", BUILTIN["xlr3"]).evidence[0].kind
<FaultClass.INTERMITTENT: 'intermittent'>
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import assert_never

from service.diagnosis.diagnosis import diagnose
from service.exchange.sheets.core.conductors import SHELL, conductor_words
from service.gear.core import End
from service.kit.problems import invalid
from service.testlog.core import Evidence
from service.wiring.faults import EVIDENCE_CLASSES, EvidenceClass, Fault, FaultClass, rebuild
from service.wiring.naming import title
from service.wiring.singles import single_faults
from service.wiring.wirings import SHELL as SHELL_OF
from service.wiring.wirings import Wiring, connector_of

NOTE_MOST = 200


def _words_of(kind: EvidenceClass) -> re.Pattern[str] | None:
    """The pattern of the words for a class of evidence; None if it has no words of its own."""
    match kind:
        case FaultClass.INTERMITTENT:
            return re.compile(r"\bintermittent|\bcrackl|\bcuts? (?:in|out)|\bpops?\b|\bwiggl|\bnois")
        case FaultClass.HIGH_RESISTANCE:
            return re.compile(r"\bhigh resistance\b|\bresistance\b|\bohms?\b|\bweak\b")
        case FaultClass.SPLIT_PAIR:
            return re.compile(r"\bsplit pair\b")
        case FaultClass.DAMAGE | FaultClass.FLEXED:
            return None
        case _:
            assert_never(kind)


_EVIDENCE = tuple((kind, pattern) for kind in reversed(EVIDENCE_CLASSES) if (pattern := _words_of(kind)))
_END = re.compile(r"\b(?:end|at|side) ?\(?(a|b)\b|^\s*(a|b)\s*$|\b(female|socket)\b|\b(male|plug)\b")
_DENIED_BEFORE = re.compile(r"(?:\b(?:no|not|never|without)|n't)(?: (?!signal\b|contin|connect)\w+)? ?$")
_DENIED_AFTER = re.compile(r"^\w*(?: is| was| seems)? (?:ok|okay|good|fine)\b")


@dataclass(frozen=True)
class Interpretation:
    """The meaning of the words: faults that readings prove, or else evidence."""

    faults: tuple[Fault, ...] = ()
    evidence: tuple[Evidence, ...] = ()


def interpret_words(words: str, wiring: Wiring, end: End | None = None) -> Interpretation:
    """The findings in the words, one for each part between semicolons; `end` is the end in another cell, if any.

    Readings from both ends prove a fault but not its end, so the end from another cell is stored as evidence.
    """
    parts = [part.strip() for part in re.split(r"[;\n]", words) if part.strip()]
    faults = [_fault(part, wiring, end) for part in parts]
    proven = tuple(dict.fromkeys(fault for fault in faults if fault is not None))
    if not _proven(proven, wiring):
        faults, proven = [None] * len(parts), ()
    evidence = tuple(
        _evidence(part, end, wiring) for part, fault in zip(parts, faults, strict=True) if fault is None or end
    )
    return Interpretation(proven, evidence)


def refuse_fault_of_pass(words: str, wiring: Wiring, end: End | None) -> None:
    """Refuse a fault in the row of a pass, since only one of them can be right.

    Raises:
        Invalid: for `fault`.
    """
    fault_cell = interpret_words(words, wiring, end)
    if fault_cell.faults or any(one.kind is not FaultClass.DAMAGE for one in fault_cell.evidence):
        raise invalid(
            "fault",
            f"“{words[:60]}” is a fault, and the verdict is a pass. Write fail; or, if it was found before and mended, "
            "write the repair into a column for that; or move the words to the notes.",
        )


def _evidence(part: str, end: End | None, wiring: Wiring) -> Evidence:
    """A finding that no readings prove. The log's own words for one are read back as that finding, with its note."""
    for kind, at in product(EVIDENCE_CLASSES, (End.A, End.B, None)):
        if kind is not FaultClass.FLEXED and part.startswith(own_words := title(wiring, Fault(kind, (), at))):
            note = part.removeprefix(own_words)
            if not note or (note.startswith(" (") and note.endswith(")")):
                return Evidence(kind, end or at, note[2:-1])
    plain = part.lower()
    kinds: list[EvidenceClass] = [kind for kind, pattern in _EVIDENCE if _says(plain, pattern)]
    return Evidence(kinds[0] if kinds else FaultClass.DAMAGE, end or end_in(plain), " ".join(part.split())[:NOTE_MOST])


def end_in(words: str) -> End | None:
    """The end that the words name; None if they name none, or both."""
    ends = {_end_of(match) for match in _END.finditer(words.lower())}
    return ends.pop() if len(ends) == 1 else None


def _end_of(match: re.Match[str]) -> End:
    letter = match[1] or match[2]
    if letter:
        return End(letter.upper())
    return End.A if match[3] else End.B  # on an audio line end A is the socket, end B the plug


def _says(plain: str, pattern: re.Pattern[str]) -> bool:
    """Whether the pattern matches words that are not denied, as in "no noise", "resistance ok"."""
    return any(
        not _DENIED_BEFORE.search(plain[: match.start()]) and not _DENIED_AFTER.search(plain[match.end() :])
        for match in pattern.finditer(plain)
    )


def _fault(part: str, wiring: Wiring, end: End | None) -> Fault | None:
    """The fault of conductors of this wiring that a part names exactly; None if it does not."""
    words = conductor_words(part)
    if words is None:
        return _by_log_words(wiring).get(part)
    names = _contacts_of(words.names, wiring, end or end_in(part)) if words.names else _only_pair(wiring)
    return Fault(words.what, names, None) if names else None


@lru_cache(maxsize=32)
def _by_log_words(wiring: Wiring) -> Mapping[str, Fault]:
    """The single faults of a wiring by the words in which the log writes them, also a wire on the tag of the shell."""
    return {title(wiring, fault): fault for fault in single_faults(wiring)}


def _contacts_of(called: Sequence[str], wiring: Wiring, end: End | None) -> tuple[str, ...]:
    """The conductors with these names, and contacts of shells; empty if a name matches none or several."""
    names = list[str]()
    for name in called:
        if name == SHELL:
            continue
        carries = name.strip("<>")
        fits = [wire.name for wire in wiring.conductors if name in (wire.name, f"<{wire.role}>")]
        if len(fits) != 1 or (carries == name and name not in wiring.by_name):
            return ()
        names += fits
    if SHELL not in called:
        return tuple(names)
    return (*names, *_shells(names[0], wiring, end)) if len(names) == 1 else ()


def _shells(conductor: str, wiring: Wiring, end: End | None) -> tuple[str, ...]:
    """The shells of the connectors in which a conductor ends, at one end or, if no end is named, at both; for a bonded
    shell, the conductor that it is bonded to.
    """
    wire, shells = wiring.by_name[conductor], list[str]()
    for contact in (wire.a, wire.b):
        number = connector_of(contact)
        shell = f"{contact[0]}{SHELL_OF if number is None else f'{number}.{SHELL_OF}'}"
        if shell in wiring.position and end in (None, End(contact[0])):
            shells.append(shell)
    bonded = [bond.earlier for bond in wiring.bonds if bond.later in shells]
    return tuple(one.name for one in wiring.conductors if {one.a, one.b} & set(bonded)) if bonded else tuple(shells)


def _only_pair(wiring: Wiring) -> tuple[str, ...]:
    """The two conductors of the only pair of a wiring."""
    paired = [[wire.name for wire in wires] for wires in wiring.pairs.values()]
    return tuple(paired[0]) if len(paired) == 1 and len(paired[0]) == 2 else ()


def _proven(faults: Sequence[Fault], wiring: Wiring) -> bool:
    """Whether the diagnosis of a cable with these faults gives the same faults."""
    try:
        diagnosed = diagnose(wiring, rebuild(wiring, faults)).faults
    except (KeyError, ValueError):
        return False
    return _comparable(diagnosed) == _comparable(faults)


def _comparable(faults: Sequence[Fault]) -> set[tuple[FaultClass, frozenset[str]]]:
    return {(fault.fault_class, frozenset(fault.conductors)) for fault in faults}
