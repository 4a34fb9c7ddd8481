"""What to do about a fault: its name in words, what it does on stage, where to look first, how to prove the repair.

Where the readings prove no end, the order of looking follows from what wears: a plug is pulled, stepped on and
strained more than a socket, and a fan-out's single connectors more than its multicore connector (common practice,
no source). Swapped conductors do not come with use: somebody soldered them so.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import assert_never

from service.wiring.faults import SWAPS, ByEvidence, Fault, FaultClass, Faulty
from service.wiring.naming import (
    Connector,
    conductor_words,
    connector_type,
    joint_words,
    listed,
    seat_words,
    sentence,
    title,
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
    return Advice(title(wiring, fault), on_stage(wiring, fault), look_first(wiring, fault), after_repair(fault))


def look_first(wiring: Wiring, fault: Fault) -> str:
    """Which end or joint to open first, and why."""
    if fault.fault_class is FaultClass.SPLIT_PAIR:
        return (
            "Open both ends and compare the twist: hot and cold of one line must be the two wires that are twisted "
            "together. Somebody matched numbers and not pairs, at both ends alike."
        )
    end, why = _end(wiring, fault)
    opening = sentence(_opening(wiring, fault, end))
    if fault.is_chain:
        return f"{opening}: {listed(list(_homes(wiring, fault)))}. Use does not do this: somebody soldered it so."
    if fault.fault_class in SWAPS:
        labels = "Check first that no two plugs or labels changed places. " * (len(_lines(wiring, fault)) > 1)
        return (
            f"{labels}Use does not swap conductors, soldering does: open the end that was repaired last and compare "
            f"its wire colors with the other end. If nobody knows, {opening[0].lower()}{opening[1:]}."
        )
    steps = _steps(fault.fault_class)
    if not why:
        return f"{opening}: {steps.seek}."
    return f"{why} {opening}: {steps.seek}. {steps.then.format(far='AB'[end == 'A'])}"


def _homes(wiring: Wiring, fault: Fault) -> Iterator[str]:
    """Where each conductor of a chain is and where it belongs."""
    for name, contact in fault.destinations or ():
        wire = wiring.by_name[name]
        home = wire.a if fault.end == "A" else wire.b
        yield f"{conductor_words(wiring, name)} is on {_joint_of(contact)} and belongs on {joint_words(home)}"


def _joint_of(contact: str) -> str:
    return seat_words(contact).partition(" at end ")[0]


def after_repair(fault: Fault) -> str:
    """The test that proves the repair."""
    return f"{SAFETY} {_steps(fault.fault_class).proof}"


_EVERY = "Run the two-ended test on every conductor"


@dataclass(frozen=True, slots=True)
class _Steps:
    """How a class of fault is mended.

    `seek` says what to look for, `then` where to go if it is not there; swaps and split pairs are looked for in another
    way. `proof` is the test after the repair.
    """

    proof: str
    seek: str = ""
    then: str = ""


def _steps(fault_class: Faulty) -> _Steps:
    match fault_class:
        case FaultClass.OPEN:
            return _Steps(
                seek="look for a broken joint, or a wire pulled out from under its clamp",
                then="If it is sound, go to end {far}; capacitance read at both ends tells which without opening.",
                proof=f"{_EVERY}, and bend the cable behind both connectors while you do.",
            )
        case FaultClass.SHORT:
            return _Steps(
                seek="look for a stray strand of shield, a blob of solder or melted insulation",
                then="If it is clean, go to end {far}, then feel for a crushed place; loop resistance read at both "
                "ends tells where.",
                proof=f"{_EVERY}, and check that no contact reaches another or a shell while you bend the cable.",
            )
        case FaultClass.REVERSED_PAIR:
            return _Steps(
                f"{_EVERY}: each must reach its own contact. Then plug in and listen to it together with a "
                "known good line on one sound: fuller is right, thinner is still reversed.",
            )
        case FaultClass.CROSSED_PAIRS:
            return _Steps(f"{_EVERY}, then plug in, speak into line after line and watch its channel move.")
        case FaultClass.CROSSED_LANES:
            return _Steps(f"{_EVERY}, lane by lane, then plug in, speak into each and watch its channel move.")
        case FaultClass.MISWIRE:
            return _Steps(
                f"{_EVERY}: each must reach its own contact and no other. Only then turn phantom power on.",
            )
        case FaultClass.SPLIT_PAIR | FaultClass.HIGH_RESISTANCE | FaultClass.INTERMITTENT | FaultClass.DAMAGE:
            return _steps_by_evidence(fault_class)
        case _:
            assert_never(fault_class)


def _steps_by_evidence(fault_class: ByEvidence) -> _Steps:
    match fault_class:
        case FaultClass.SPLIT_PAIR:
            return _Steps(
                "No continuity test shows this. Plug in, send sound through one line, listen to the silent "
                "one beside it, and compare with a good cable of the same kind.",
            )
        case FaultClass.HIGH_RESISTANCE:
            return _Steps(
                seek="look for a dull, cracked joint, a blackened contact, a loose screw, or damp and dirt between two",
                then="If it is sound, go to end {far}; clean the contacts of both ends in any case.",
                proof="Read each loop in milliohms and check it against length and gauge, then again while you "
                "bend the cable behind both connectors.",
            )
        case FaultClass.INTERMITTENT:
            return _Steps(
                seek="move each wire with a fingertip while a helper watches the tester",
                then="If nothing moves there, do the same at end {far}, then bend the cable all along.",
                proof=f"{_EVERY} with a flex test: bend it behind both connectors and along its length; nothing may "
                "flicker.",
            )
        case FaultClass.DAMAGE:
            return _Steps(
                seek="look for bent contacts, a worn latch, a cut jacket or a clamp that holds nothing",
                then="Then look at end {far}, and run the whole jacket through your hand.",
                proof=f"Plug both ends into good sockets three times: they must lock and let go. {_EVERY} with a "
                "flex test.",
            )
        case _:
            assert_never(fault_class)


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
        joints = listed([joint_words(contact).partition(" of ")[0] for contact in contacts])
    return f"at end {end}, {_OPENING[kind].format(it=it)} and go to {joints}"


def _connectors(contacts: Iterable[str]) -> list[int | None]:
    return list(dict.fromkeys(connector_of(contact) for contact in contacts))


def _contacts(wiring: Wiring, fault: Fault, end: str) -> list[str]:
    """The contacts of the fault's conductors at `end`, in order; of a chain those where they are now."""
    held = set()
    if fault.is_chain and fault.destinations and fault.end == end:
        return [contact for contact in wiring.contacts(end) if contact in dict(fault.destinations).values()]
    for name in fault.conductors:
        if name in wiring.by_name:
            held.add(wiring.by_name[name].a if end == "A" else wiring.by_name[name].b)
        elif name[0] == end:
            held.add(name)
    return [contact for contact in wiring.contacts(end) if contact in held]
