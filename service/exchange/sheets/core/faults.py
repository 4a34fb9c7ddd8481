"""What was wrong with a cable, in the words that people write into a sheet, as findings. Pure.

A sheet has no readings. Where the words prove which conductor it was ("pin 2 open"), they become the readings that a
cable with this fault gives; all else becomes evidence, with the words as its note, so that nothing is made up.

>>> from service.wiring.builtin import BUILTIN
>>> understood("Pin 2 open at B", BUILTIN["xlr3"]).faults
(Fault(fault_class=<FaultClass.OPEN: 'open'>, conductors=('2',), end=None, lanes=None, landings=None),)
>>> understood("crackles when bent", BUILTIN["xlr3"]).evidence[0].kind
<EvidenceClass.INTERMITTENT: 'intermittent'>
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from service.gear.core import End
from service.testlog.core import Evidence, EvidenceClass
from service.wiring.diagnosis import diagnose
from service.wiring.faults import Fault, FaultClass
from service.wiring.rebuild import rebuild
from service.wiring.wirings import Wiring

NOTE_MOST = 200

_OPEN = re.compile(
    r"\bopens?\b|\bbroken (?:wire|conductor|pin)\b|\bno (?:signal|continuity|connection)\b|\bdead\b"
)
_SHORT = re.compile(r"\bshort(?:ed|s)?\b|\btouch(?:es|ing)?\b|\bbridged?\b")
_REVERSED = re.compile(r"\breversed?\b|\bpolarity\b|\bswapped\b|\bout of phase\b|\binverted\b")
_EVIDENCE = (
    (EvidenceClass.INTERMITTENT, re.compile(r"\bintermittent|\bcrackl|\bcuts? (?:in|out)|\bpops?\b|\bwiggl|\bnois")),
    (EvidenceClass.HIGH_RESISTANCE, re.compile(r"\bhigh resistance\b|\bresistance\b|\bohms?\b|\bweak\b")),
    (EvidenceClass.SPLIT_PAIR, re.compile(r"\bsplit pair\b")),
)  # fmt: skip
_END = re.compile(r"\b(?:end|at|side) ?\(?(a|b)\b|^\s*(a|b)\s*$|\b(female|socket)\b|\b(male|plug)\b")
_NUMBERS = re.compile(r"\b(?:pins?|conductors?|contacts?|on|lead)? ?#?(\d{1,2})\b")


@dataclass(frozen=True)
class Understood:
    """What the words come to: faults that readings prove, or else evidence."""

    faults: tuple[Fault, ...] = ()
    evidence: tuple[Evidence, ...] = ()


def understood(words: str, wiring: Wiring, end: End | None = None) -> Understood:
    """The findings in the words, one in each part between semicolons; `end` where another cell says it."""
    parts = [part.strip() for part in re.split(r"[;\n]", words) if part.strip()]
    faults = [_fault(" ".join(part.lower().split()), wiring) for part in parts]
    proven = tuple(dict.fromkeys(fault for fault in faults if fault is not None))
    if not _proven(proven, wiring):
        faults, proven = [None] * len(parts), ()
    evidence = tuple(_evidence(part, end) for part, fault in zip(parts, faults, strict=True) if fault is None)
    return Understood(proven, evidence)


def _evidence(part: str, end: End | None) -> Evidence:
    plain = part.lower()
    kind = next((kind for kind, pattern in _EVIDENCE if pattern.search(plain)), EvidenceClass.DAMAGE)
    return Evidence(kind, end or end_in(plain), " ".join(part.split())[:NOTE_MOST])


def end_in(words: str) -> End | None:
    """The end that the words name; None where they name none, or both."""
    found = {_end_of(match) for match in _END.finditer(words.lower())}
    return found.pop() if len(found) == 1 else None


def _end_of(match: re.Match[str]) -> End:
    letter = match[1] or match[2]
    if letter:
        return End(letter.upper())
    return End.A if match[3] else End.B  # of an audio line: end A is the socket, end B the plug


def _fault(plain: str, wiring: Wiring) -> Fault | None:
    names = tuple(dict.fromkeys(number for number in _NUMBERS.findall(plain) if number in wiring.by_name))
    if _SHORT.search(plain) and len(names) > 1:
        return Fault(FaultClass.SHORT, names, None)
    if _OPEN.search(plain) and len(names) == 1:
        return Fault(FaultClass.OPEN, names, None)
    if _REVERSED.search(plain) and (not names or len(names) == 2):
        pair = names or _only_pair(wiring)
        return Fault(FaultClass.REVERSED_PAIR, pair, None) if pair else None
    return None


def _only_pair(wiring: Wiring) -> tuple[str, ...]:
    """The two conductors of the only pair that there is."""
    paired = [[wire.name for wire in wires] for wires in wiring.pairs.values()]
    return tuple(paired[0]) if len(paired) == 1 and len(paired[0]) == 2 else ()


def _proven(faults: Sequence[Fault], wiring: Wiring) -> bool:
    """Whether the readings of a cable with these faults tell of the same again."""
    try:
        found = diagnose(wiring, rebuild(wiring, faults)).faults
    except (KeyError, ValueError):
        return False
    return _told(found) == _told(faults)


def _told(faults: Sequence[Fault]) -> set[tuple[FaultClass, frozenset[str]]]:
    return {(fault.fault_class, frozenset(fault.conductors)) for fault in faults}
