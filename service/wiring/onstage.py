"""What each fault does on stage, in plain words, by the roles of the conductors that it holds.

Balanced lines as everyone wires them: the input hears hot less cold, phantom power comes down both against the
shield. So a reversed pair passes sound, a lost shield takes the phantom power with it, and a short between hot and
cold leaves the phantom volts right and the channel dead.
"""

from typing import assert_never

from service.wiring.faults import ByEvidence, Fault, FaultClass
from service.wiring.wirings import Conductor, Wiring, is_shell

_OPEN = {
    "shield": "Hums and buzzes, and phantom power stops: a condenser microphone is dead, a dynamic one may not be.",
    "hot": "Weak and thin, or dead: only cold still carries the sound, and phantom power reaches one leg only.",
    "cold": "Weak and thin, with hum, or dead: only hot carries the sound, and phantom power reaches one leg only.",
    "single": "Dead.",
}


def on_stage(wiring: Wiring, fault: Fault) -> str:
    """What the band hears of `fault`."""
    match fault.fault_class:
        case FaultClass.OPEN:
            return _open(wiring, fault)
        case FaultClass.SHORT:
            return _short(wiring, fault)
        case FaultClass.REVERSED_PAIR:
            return (
                "Passes sound, and alone it seems right. Next to a neighbor that hears the same instrument the two "
                "cancel: thin, no bottom."
            )
        case FaultClass.CROSSED_PAIRS:
            return "The right sound in the wrong channel: whatever runs on the two pairs has changed places."
        case FaultClass.CROSSED_LANES:
            return _crossed_lanes(fault)
        case FaultClass.MISWIRE:
            return _miswire(wiring, fault)
        case FaultClass.SPLIT_PAIR | FaultClass.HIGH_RESISTANCE | FaultClass.INTERMITTENT | FaultClass.DAMAGE:
            return _evidenced(fault.fault_class)
        case _:
            assert_never(fault.fault_class)


def _evidenced(fault_class: ByEvidence) -> str:
    match fault_class:
        case FaultClass.SPLIT_PAIR:
            return (
                "Passes sound and every continuity test, but each line is twisted with a stranger: "
                "it picks up hum and its neighbor's sound."
            )
        case FaultClass.HIGH_RESISTANCE:
            return "Works in the shop, then crackles, fades or loses phantom power once it is warm, damp or moved."
        case FaultClass.INTERMITTENT:
            return "Crackles and drops out when the frame rolls or somebody steps on the cable."
        case FaultClass.DAMAGE:
            return "Works today; it is the next one to pull out, crackle or go dead during a show."
        case _:
            assert_never(fault_class)


def _open(wiring: Wiring, fault: Fault) -> str:
    if not fault.conductors:
        return "Weak, humming or dead, by which conductor it is."
    conductor = wiring.by_name.get(fault.conductors[0])
    if conductor is None:
        return "Sounds right, but the shell no longer screens: it buzzes when a hand or a metal frame touches it."
    if conductor.role == "shield" and conductor.lane is None and len(wiring.pairs) > 1:
        return "Every line in the jacket may hum: the screen around them all hangs loose."
    return _OPEN[conductor.role]


def _short(wiring: Wiring, fault: Fault) -> str:
    if not fault.conductors:
        return "Weak, humming or dead, by what touches, and phantom power may be pulled down."
    held = _held_conductors(wiring, fault)
    loose = len(held) < len(fault.conductors)
    lines = {(conductor.lane, conductor.pair) for conductor in held if conductor.role != "shield"}
    roles = {conductor.role for conductor in held}
    if "single" in roles:
        return "Dead, or the sound of one conductor in the other."
    if len(lines) > 1:
        return "One channel bleeds into another, and both may be weak or dead."
    if {"hot", "cold"} <= roles:
        words = "Dead: hot and cold cancel. Phantom volts read without a load still look right."
        return words if "shield" not in roles else "Dead, and phantom power is pulled down to nothing."
    if "hot" in roles and "shield" in roles:
        return "Dead or very weak, and phantom power is pulled down: a condenser microphone goes dead."
    if "cold" in roles and "shield" in roles:
        return "Weaker, with hum, and phantom power is pulled down: a condenser microphone goes dead or distorts."
    if loose and roles - {"shield"}:
        return "Fine until the shell touches metal, a frame or another shell: then it buzzes or goes dead."
    if loose:
        return "Sounds right, but may hum where the shell touches a grounded frame."
    return "Sounds right, but two shields that meet may hum."


def _crossed_lanes(fault: Fault) -> str:
    one, other = fault.lanes or ("one", "another")
    return (
        f"The right sound in the wrong channel: what is plugged into lane {one} comes up on {other}, "
        f"and {other} on {one}."
    )


def _miswire(wiring: Wiring, fault: Fault) -> str:
    held = _held_conductors(wiring, fault)
    if fault.is_chain and len(held) == 1:
        return _off_its_contact(held[0], fault)
    if len({conductor.lane for conductor in held}) > 1 or len({c.pair for c in held if c.pair}) > 1:
        return "Lines are mixed: channels bleed, buzz or go dead, and phantom power lands where it should not."
    if any(conductor.role == "shield" for conductor in held):
        return "Buzzes loudly or is dead, and phantom power arrives the wrong way round."
    return "Dead, or the wrong sound in the channel."


def _held_conductors(wiring: Wiring, fault: Fault) -> list[Conductor]:
    return [wiring.by_name[name] for name in fault.conductors if name in wiring.by_name]


def _off_its_contact(wire: Conductor, fault: Fault) -> str:
    """A wire on a contact of no conductor: what it carries is missing, and is on the metal where that is a shell."""
    missing = _OPEN[wire.role]
    if not any(is_shell(contact) for _, contact in fault.destinations or ()):
        return missing
    if wire.role == "shield":
        return f"{missing} While the shell touches a grounded frame it may seem right."
    return f"{missing} What it carries is on the metal of the connector, which buzzes when it touches anything."
