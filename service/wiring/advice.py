"""What to do about a fault: its name in words, what it does on stage, where to look first, how to prove the repair.

Where the readings prove no end, the order of looking follows from what wears: a plug is pulled, stepped on and
strained more than a socket, and a fan-out's single connectors more than its multicore connector (common practice,
no source). Swapped conductors do not come with use: somebody soldered them so.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from itertools import groupby

from service.wiring.faults import CONTINUITY, SWAPS, Fault, FaultClass
from service.wiring.naming import (
    Connector,
    conductor_words,
    connector_type,
    contact_words,
    listed,
    sentence,
)
from service.wiring.onstage import on_stage
from service.wiring.wirings import ENDS, Wiring, connector_of

SAFETY = "Unplug both ends first, with the channel muted and phantom power off."

_OPENING = {
    Connector.THREE: "unscrew the back shell of {it}",
    Connector.PLUG: "unscrew the barrel of {it}",
    Connector.D25: "check {it} for a bent or pushed-back contact before you take the hood off",
    Connector.EIGHT: "check {it} for a bent contact or a broken latch (crimped on, it is replaced, not mended)",
    Connector.OTHER: "open {it}",
}


@dataclass(frozen=True, slots=True)
class Advice:
    """Four plain texts about a fault, as `say` gives them."""

    title: str
    on_stage: str
    look_first: str
    after_repair: str


def say(wiring: Wiring, fault: Fault) -> Advice:
    """Everything a helper needs to know about `fault` on `wiring`. Raises `Invalid` for names it lacks."""
    return Advice(
        title(wiring, fault), on_stage(wiring, fault), look_first(wiring, fault), after_repair(fault)
    )


def title(wiring: Wiring, fault: Fault) -> str:
    """The fault in one line: "Conductor 2 (hot) is open"."""
    names = [conductor_words(wiring, name) for name in fault.conductors]
    at = f" at end {fault.end}" if fault.end else ""
    if not names and fault.fault_class in CONTINUITY:
        return sentence(f"{_UNNAMED[fault.fault_class]}{at}")
    return sentence(_TITLE[fault.fault_class](wiring, fault, names, at))


def look_first(wiring: Wiring, fault: Fault) -> str:
    """Which end or joint to open first, and why."""
    if fault.fault_class is FaultClass.SPLIT_PAIR:
        return (
            "Open both ends and compare the twist: hot and cold of one line must be the two wires that are twisted "
            "together. Somebody matched numbers and not pairs, at both ends alike."
        )
    end, why = _end(wiring, fault)
    opening = sentence(_opening(wiring, fault, end))
    if fault.fault_class in SWAPS:
        labels = "Check first that no two plugs or labels changed places. " * (len(_lines(wiring, fault)) > 1)
        return (
            f"{labels}Use does not swap conductors, soldering does: open the end that was repaired last and compare "
            f"its wire colors with the other end. If nobody knows, {opening[0].lower()}{opening[1:]}."
        )
    if not why:
        return f"{opening}: {_SEEK[fault.fault_class]}."
    return f"{why} {opening}: {_SEEK[fault.fault_class]}. {_THEN[fault.fault_class].format(far='AB'[end == 'A'])}"


def after_repair(fault: Fault) -> str:
    """The test that proves the repair."""
    return f"{SAFETY} {_PROOF[fault.fault_class]}"


def _title_open(wiring: Wiring, fault: Fault, names: list[str], at: str) -> str:
    bonded = [bond for bond in wiring.bonds if bond.later == fault.conductors[0]]
    if bonded and fault.conductors[0] not in wiring.by_name:
        return f"{names[0]} is not joined to {_joint(bonded[0].earlier)}"
    return f"{names[0]} is open{at}"


def _title_crossed_pairs(wiring: Wiring, fault: Fault, _names: list[str], _at: str) -> str:
    pairs = groupby(
        sorted(fault.conductors, key=lambda name: wiring.by_name[name].pair or ""),
        key=lambda name: wiring.by_name[name].pair,
    )
    one, other = (f"pair {pair} ({'/'.join(members)})" for pair, members in pairs)
    return f"{one} and {other} are crossed"


def _title_miswire(wiring: Wiring, fault: Fault, names: list[str], _at: str) -> str:
    landings = [
        f"{conductor_words(wiring, name)} ends on {contact_words(contact)}"
        for name, contact in fault.landings or ()
    ]
    return f"miswired: {listed(landings or names)}"


def _title_in(what: str) -> Callable[[Wiring, Fault, list[str], str], str]:
    """Titles of what other evidence shows, with its conductors where they are known."""
    return lambda _wiring, _fault, names, at: (
        f"{what}{at}{': ' if names else ''}{listed(names) if names else ''}"
    )


_UNNAMED: Mapping[FaultClass, str] = {
    FaultClass.OPEN: "an open conductor",
    FaultClass.SHORT: "a short",
    FaultClass.REVERSED_PAIR: "a reversed pair",
    FaultClass.CROSSED_PAIRS: "crossed pairs",
    FaultClass.CROSSED_LANES: "crossed lanes",
    FaultClass.MISWIRE: "a miswire",
}
_TITLE: Mapping[FaultClass, Callable[[Wiring, Fault, list[str], str], str]] = {
    FaultClass.OPEN: _title_open,
    FaultClass.SHORT: lambda _wiring, _fault, names, at: f"{listed(names)} touch{at}",
    FaultClass.REVERSED_PAIR: lambda _wiring, _fault, names, _at: f"{listed(names)} are swapped",
    FaultClass.CROSSED_PAIRS: _title_crossed_pairs,
    FaultClass.CROSSED_LANES: lambda _wiring, fault, _names, _at: (
        f"lanes {listed(fault.lanes or ())} are crossed"
    ),
    FaultClass.MISWIRE: _title_miswire,
    FaultClass.SPLIT_PAIR: _title_in("split pair"),
    FaultClass.HIGH_RESISTANCE: _title_in("a joint of high resistance"),
    FaultClass.INTERMITTENT: _title_in("contact that comes and goes"),
    FaultClass.DAMAGE: _title_in("damage"),
}

_SEEK = {
    FaultClass.OPEN: "look for a broken joint, or a wire pulled out from under its clamp",
    FaultClass.SHORT: "look for a stray strand of shield, a blob of solder or melted insulation",
    FaultClass.HIGH_RESISTANCE: "look for a dull, cracked joint, a blackened contact or a loose screw",
    FaultClass.INTERMITTENT: "move each wire with a fingertip while a helper watches the tester",
    FaultClass.DAMAGE: "look for bent contacts, a worn latch, a cut jacket or a clamp that holds nothing",
}
_THEN = {
    FaultClass.OPEN: "If it is sound, go to end {far}; capacitance read at both ends tells which without opening.",
    FaultClass.SHORT: "If it is clean, go to end {far}, then feel for a crushed place; loop resistance read at both "
    "ends tells where.",
    FaultClass.HIGH_RESISTANCE: "If it is sound, go to end {far}; clean the contacts of both ends in any case.",
    FaultClass.INTERMITTENT: "If nothing moves there, do the same at end {far}, then bend the cable all along.",
    FaultClass.DAMAGE: "Then look at end {far}, and run the whole jacket through your hand.",
}

_EVERY = "Run the two-ended test on every conductor"
_PROOF = {
    FaultClass.OPEN: f"{_EVERY}, and bend the cable behind both connectors while you do.",
    FaultClass.SHORT: f"{_EVERY}, and check that no contact reaches another or a shell while you bend the cable.",
    FaultClass.REVERSED_PAIR: f"{_EVERY}: each must reach its own contact. Then plug in and listen to it together "
    "with a known good line on one sound: fuller is right, thinner is still reversed.",
    FaultClass.CROSSED_PAIRS: f"{_EVERY}, then plug in, speak into line after line and watch its channel move.",
    FaultClass.CROSSED_LANES: f"{_EVERY}, lane by lane, then plug in, speak into each and watch its channel move.",
    FaultClass.MISWIRE: f"{_EVERY}: each must reach its own contact and no other. Only then turn phantom power on.",
    FaultClass.SPLIT_PAIR: "No continuity test shows this. Plug in, send sound through one line, listen to the silent "
    "one beside it, and compare with a good cable of the same kind.",
    FaultClass.HIGH_RESISTANCE: "Read each loop in milliohms and check it against length and gauge, then again while "
    "you bend the cable behind both connectors.",
    FaultClass.INTERMITTENT: f"{_EVERY} with a flex test: bend it behind both connectors and along its length; "
    "nothing may flicker.",
    FaultClass.DAMAGE: f"Plug both ends into good sockets three times: they must lock and let go. {_EVERY} with a "
    "flex test.",
}


def _end(wiring: Wiring, fault: Fault) -> tuple[str, str]:
    """The end to open first, and why where the readings do not prove it."""
    if fault.end:
        return fault.end, ""
    if bare := [name for name in fault.conductors if name not in wiring.by_name]:
        return bare[0][0], ""
    apart = {end: _connectors(_contacts(wiring, fault, end)) for end in ENDS}
    if len(_lines(wiring, fault)) > 1 and len(apart["A"]) == 1 < len(apart["B"]):
        return "A", "Only in the jacket and at end A do these conductors lie side by side."
    if len(_connectors(wiring.contacts("A"))) < len(_connectors(wiring.contacts("B"))):
        return "B", "Either end may hold it; the single connectors take the pulls, so start there."
    return "B", "Either end may hold it; plugs are pulled and stepped on most, so start at end B."


def _lines(wiring: Wiring, fault: Fault) -> set[tuple[str | None, str | None]]:
    """The lanes and pairs that the fault touches; a shield follows its lane."""
    held = [wiring.by_name[name] for name in fault.conductors if name in wiring.by_name]
    return {(wire.lane, None if wire.lane else wire.pair) for wire in held if wire.lane or wire.pair}


def _opening(wiring: Wiring, fault: Fault, end: str) -> str:
    """Which connector of `end` to open, how, and which of its joints to look at."""
    contacts = _contacts(wiring, fault, end)
    numbers = _connectors(contacts or wiring.contacts(end))
    kind = connector_type(wiring, (contacts or wiring.contacts(end))[0])
    it = f"the {kind}"
    if not contacts and len(numbers) > 1:
        it = f"each {kind}"
    elif None not in numbers:
        it = f"{kind}{'s' * (len(numbers) > 1)} {listed([str(number) for number in numbers])}"
    if not contacts or len(numbers) > 1:
        joints = "every joint"
    else:
        joints = listed([_joint(contact).partition(" of ")[0] for contact in contacts])
    return f"at end {end}, {_OPENING[kind].format(it=it)} and go to {joints}"


def _joint(contact: str) -> str:
    return contact_words(contact).partition(" at end ")[0]


def _connectors(contacts: Iterable[str]) -> list[int | None]:
    return list(dict.fromkeys(connector_of(contact) for contact in contacts))


def _contacts(wiring: Wiring, fault: Fault, end: str) -> list[str]:
    """The contacts of the fault's conductors at `end`, in order."""
    held = set()
    for name in fault.conductors:
        if name in wiring.by_name:
            held.add(wiring.by_name[name].a if end == "A" else wiring.by_name[name].b)
        elif name[0] == end:
            held.add(name)
    return [contact for contact in wiring.contacts(end) if contact in held]
