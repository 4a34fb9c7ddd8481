"""Tests whose reading is ambiguous: the possible cables in words, and what is logged. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from service.diagnosis.ambiguity import Consensus, agree
from service.diagnosis.diagnosis import Diagnosis, diagnose
from service.kit.problems import invalid
from service.testlog.core import Evidence, Method, NewTest
from service.wiring.faults import Fault, FaultClass
from service.wiring.naming import conductor_words, listed, sentence, title
from service.wiring.onstage import on_stage
from service.wiring.wirings import Wiring, canonical

UNSURE: Final = ""
"""The answer of somebody who does not know which of the cables it is."""


@dataclass(frozen=True)
class PossibleCable:
    """A possible cable: its faults, and what the band hears of each."""

    name: str
    faults: tuple[tuple[str, str], ...]
    words: str


@dataclass(frozen=True)
class TestOrigin:
    """Where a test came from: its id, the item's code, the method, what was shown in words, and a typed note."""

    id: UUID
    code: str
    method: Method
    shown: str
    note: str = ""
    flexed: bool = False
    tester: UUID | None = None
    session: UUID | None = None


def choices(wiring: Wiring, consensus: Consensus) -> list[PossibleCable]:
    """Each possible cable, named by its position in `consensus`."""
    return [
        PossibleCable(
            str(at),
            tuple((title(wiring, fault), on_stage(wiring, fault)) for fault in diagnosis.faults),
            in_words(wiring, diagnosis),
        )
        for at, diagnosis in enumerate(consensus.diagnoses)
    ]


def in_words(wiring: Wiring, diagnosis: Diagnosis) -> str:
    """A diagnosis in one line."""
    if diagnosis.faults:
        return "; ".join(title(wiring, fault) for fault in diagnosis.faults)
    return "A cable without a fault" if diagnosis.verdict == "pass" else "No fault, as far as it was reached"


def outcome(wiring: Wiring, consensus: Consensus) -> str:
    """A sentence: what will be logged if nobody knows which of several cables it is."""
    diagnosis = diagnose(wiring, consensus.kept) if consensus.kept is not None else None
    if consensus.faulty or (diagnosis and diagnosis.verdict == "fail"):
        return "It is logged as failed, since each of these is a fault; all of them are named in its note."
    if diagnosis is None or diagnosis.verdict == "pass":
        return "It is logged as passed."
    unproven = listed([conductor_words(wiring, name) for name in diagnosis.unproven])
    return f"It is logged as partial: no fault is proven, and neither is {unproven}."


def chosen(wiring: Wiring, consensus: Consensus, which: str) -> Consensus:
    """The consensus after somebody chose one of the readings by another check; unchanged if nobody can.

    Raises:
        Invalid: for `which`, where it is none of them.
    """
    at = _picked(which, len(consensus.readings))
    return consensus if at is None else agree(wiring, [consensus.readings[at]])


def _picked(which: str, several: int) -> int | None:
    if which == UNSURE:
        return None
    if not which.isdecimal() or int(which) >= several:
        raise invalid("which", "Choose one of those named, or that you cannot tell.")
    return int(which)


def resisting(wiring: Wiring, maybe: Sequence[str]) -> list[PossibleCable]:
    """Each possible leak or joint, named by its position in `maybe`."""
    heard = on_stage(wiring, Fault(FaultClass.HIGH_RESISTANCE, ()))
    return [PossibleCable(str(at), ((sentence(words), heard),), sentence(words)) for at, words in enumerate(maybe)]


def outcome_of_resistance(maybe: Sequence[str]) -> str:
    """A sentence: what will be logged about such a resistance; "" if there is none."""
    if not maybe:
        return ""
    named = " All of these are named with it." if len(maybe) > 1 else ""
    return f"It is logged as failed, with high resistance as what was found.{named}"


def as_test(wiring: Wiring, origin: TestOrigin, consensus: Consensus) -> NewTest:
    """The test to log. Nothing is guessed: it has the readings that all possible cables share.

    A cable that is faulty for sure, though not with which fault, fails by evidence that names all it may be: no
    class of fault is claimed that the readings do not prove, and `damage` is the one that means only "look inside".
    """
    maybe = " Or: ".join(in_words(wiring, diagnosis) + "." for diagnosis in consensus.diagnoses)
    several = len(consensus.readings) > 1
    evidence = [Evidence(FaultClass.DAMAGE, None, _one_of(wiring, consensus))] if consensus.faulty else []
    if origin.flexed:
        evidence.append(Evidence(FaultClass.FLEXED))
    kept = canonical(wiring, consensus.kept) if consensus.kept is not None else {"joined": None, "probed": "all"}
    parts = [origin.shown, f"It may be: {maybe}" if several else "", origin.note]
    return NewTest(
        id=origin.id,
        item=origin.code,
        method=origin.method,
        joined=kept["joined"],
        probed=kept["probed"],
        evidence=tuple(evidence),
        note=" ".join(part for part in parts if part),
        session=origin.session,
        tester=origin.tester,
    )


def as_evidence(origin: TestOrigin, maybe: Sequence[str], which: str) -> NewTest:
    """The test to log for a leak or a joint, which contact readings do not show: evidence that names all possibilities.

    Raises:
        Invalid: for `which`, where it is none of them.
    """
    at = _picked(which, len(maybe))
    sure = maybe if at is None else [maybe[at]]
    named = sure[0] if len(sure) == 1 else f"one of: {'; or '.join(sure)}"
    evidence = [Evidence(FaultClass.HIGH_RESISTANCE, None, named)]
    if origin.flexed:
        evidence.append(Evidence(FaultClass.FLEXED))
    return NewTest(
        id=origin.id,
        item=origin.code,
        method=origin.method,
        evidence=tuple(evidence),
        note=" ".join(part for part in (origin.shown, origin.note) if part),
        session=origin.session,
        tester=origin.tester,
    )


def _one_of(wiring: Wiring, consensus: Consensus) -> str:
    named = [in_words(wiring, diagnosis) for diagnosis in consensus.diagnoses]
    return f"one of: {'; or '.join(word[:1].lower() + word[1:] for word in named)}"
