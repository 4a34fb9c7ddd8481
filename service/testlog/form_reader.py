"""Reading the test form into a test of the log."""

from collections.abc import Mapping, Sequence
from typing import assert_never

from starlette.datastructures import FormData

from service.gear.core import End
from service.kit.problems import Invalid, invalid
from service.kit.text import as_id, readable
from service.testlog.core import Evidence, Method, NewTest, Verdict
from service.testlog.sheet import Entered, is_good, readings
from service.web.forms import read_op
from service.wiring.faults import EVIDENCE_CLASSES, EvidenceClass, FaultClass
from service.wiring.wirings import Wiring, lanes_of


def _ticks(kind: EvidenceClass) -> dict[str, str]:
    """The ticks of a class of evidence: their names and labels."""
    match kind:
        case FaultClass.INTERMITTENT:
            return {"crackles": "Crackles when flexed"}
        case FaultClass.DAMAGE:
            return {
                "bent": "Bent contact",
                "cut": "Cut jacket",
                "latch": "Worn latch",
                "sticks": "Sticks in its socket",
            }
        case FaultClass.HIGH_RESISTANCE:
            return {"resistance": "High resistance"}
        case FaultClass.SPLIT_PAIR:
            return {"split": "Split pair"}
        case FaultClass.FLEXED:
            return {}  # it has a tick of its own on the page
        case _:
            assert_never(kind)


EVIDENCE: Mapping[str, tuple[str, EvidenceClass]] = {
    name: (words, kind) for kind in reversed(EVIDENCE_CLASSES) for name, words in _ticks(kind).items()
}
"""The ticks beside the readings: their labels, and the evidence that each stands for."""

FLEXED = "flexed"
MARKED = "You marked something as wrong, so this is no pass. Press Fail, or take the marks back."
NOT_MARKED = "Mark what the tester showed, contact by contact, then press Fail once more."
NOTE_MOST = 500
_CONTACTS = ("touch", "unbonded", "skip", "skip_lane", "shells", "lane")


def entered(wiring: Wiring, posted: FormData) -> Entered:
    """The readings in the posted form. Contacts that are not on the page count as good."""
    lanes = lanes_of(wiring)
    skipped = {wire.name for lane in posted.getlist("skip_lane") for wire in lanes.get(str(lane), ())}
    skipped |= {str(name) for name in posted.getlist("skip") if name in wiring.by_name}
    return Entered(
        landed={name: str(value) for name, value in posted.multi_items() if _is_row(name)},
        touching=tuple(_pair(wiring, str(value)) for value in posted.getlist("touch")),
        unbonded=frozenset(str(contact) for contact in posted.getlist("unbonded")),
        skipped=frozenset(skipped),
        shells=posted.get("shells") == "yes",
    )


def without_contacts(posted: FormData) -> FormData:
    """The posted fields without those of a wiring's contacts."""
    return FormData([pair for pair in posted.multi_items() if pair[0] not in _CONTACTS and not _is_row(pair[0])])


def _is_row(name: str) -> bool:
    return name[:1] in "cl" and name[1:].isdecimal()


def evidence(posted: FormData) -> tuple[Evidence, ...]:
    """The evidence that was ticked, at the chosen end."""
    end = posted.get("at_end")
    at = End(str(end)) if end in list(End) else None
    findings = tuple(finding(str(name), at) for name in posted.getlist("evidence") if name in EVIDENCE)
    return findings + ((Evidence(FaultClass.FLEXED),) if posted.get(FLEXED) == "yes" else ())


def finding(name: str, at: End | None = None) -> Evidence:
    """The evidence that a tick stands for."""
    words, kind = EVIDENCE[name]
    return Evidence(kind, at, words.lower() if kind is FaultClass.DAMAGE else "")


def new_test(code: str, through: tuple[str, ...], wiring: Wiring, posted: FormData) -> NewTest:
    """The form as a test of the log.

    Raises:
        Invalid: the entries contradict each other, or the button that was pressed.
    """
    sheet, findings = entered(wiring, posted), evidence(posted)
    marked = not is_good(wiring, sheet) or any(one.kind is not FaultClass.FLEXED for one in findings)
    if posted.get("verdict") not in (Verdict.PASS, Verdict.FAIL):
        raise invalid("verdict", "Say whether it passed or failed: press one of the two buttons.")
    if marked != (posted.get("verdict") == Verdict.FAIL):
        raise invalid("verdict", MARKED if marked else NOT_MARKED)
    joined, probed = readings(wiring, sheet)
    method = str(posted.get("method") or Method.TWO_ENDED)
    if method not in list(Method):
        raise invalid("method", f"“{method[:20]}” is no way of testing; choose one of those offered.")
    return NewTest(
        id=read_op(posted.get("op")),
        item=code,
        through=through,
        method=Method(method),
        joined=joined,
        probed=probed,
        evidence=findings,
        note=note(posted, "note"),
        session=as_id(posted.get("session")),
    )


def through_lane(lanes: Sequence[str], posted: FormData) -> str:
    """The lane that a single channel took through pieces with several.

    Raises:
        Invalid: it was not chosen, or the pieces have no such lane.
    """
    lane = str(posted.get("through_lane") or "")
    if lane not in lanes:
        raise invalid("through_lane", "Say which lane it went through: the test proves that one and no other.")
    return lane


def note(posted: FormData, name: str) -> str:
    """The text in the field of this name."""
    text = posted.get(name)
    try:
        clean = readable(text) if isinstance(text, str) else ""
    except Invalid as refusal:
        raise invalid(name, refusal.detail) from refusal
    if len(clean) > NOTE_MOST:
        raise invalid(name, f"This text has {len(clean)} characters; {NOTE_MOST} are the most.")
    return clean


def codes(text: str) -> tuple[str, ...]:
    """The codes in a text, separated by commas or spaces."""
    return tuple(text.replace(",", " ").split())


def _pair(wiring: Wiring, text: str) -> tuple[str, str]:
    one, _, other = text.partition("+")
    if one not in wiring.position or other not in wiring.position:
        raise invalid("touch", f"“{text[:40]}” are no two contacts of this wiring. Open the page again.")
    return one, other
