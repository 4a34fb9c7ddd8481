"""What each fault does on stage, in plain words, by the roles of the conductors that it holds.

Balanced lines as everyone wires them: the input hears hot less cold, phantom power comes down both against the
shield. So a reversed pair passes sound, a lost shield takes the phantom power with it, and a short between hot and
cold leaves the phantom volts right and the channel dead.
"""

from collections.abc import Callable, Mapping

from service.wiring.faults import Fault, FaultClass
from service.wiring.wirings import Conductor, Wiring

_OPEN = {
    "shield": "Hums and buzzes, and phantom power stops: a condenser microphone is dead, a dynamic one may not be.",
    "hot": "Weak and thin, or dead: only cold still carries the sound, and phantom power reaches one leg only.",
    "cold": "Weak and thin, with hum, or dead: only hot carries the sound, and phantom power reaches one leg only.",
    "single": "Dead.",
}


def on_stage(wiring: Wiring, fault: Fault) -> str:
    """What the band hears of `fault`."""
    return _BY_CLASS[fault.fault_class](wiring, fault)


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
    held = _held(wiring, fault)
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


def _reversed_pair(_wiring: Wiring, _fault: Fault) -> str:
    return (
        "Passes sound, and alone it seems right. Next to a neighbor that hears the same instrument the two cancel: "
        "thin, no bottom."
    )


def _crossed_pairs(_wiring: Wiring, _fault: Fault) -> str:
    return "The right sound in the wrong channel: whatever runs on the two pairs has changed places."


def _crossed_lanes(_wiring: Wiring, fault: Fault) -> str:
    one, other = fault.lanes or ("one", "another")
    return (
        f"The right sound in the wrong channel: what is plugged into lane {one} comes up on {other}, "
        f"and {other} on {one}."
    )


def _miswire(wiring: Wiring, fault: Fault) -> str:
    held = _held(wiring, fault)
    if len({conductor.lane for conductor in held}) > 1 or len({c.pair for c in held if c.pair}) > 1:
        return (
            "Lines are mixed: channels bleed, buzz or go dead, and phantom power lands where it should not."
        )
    if any(conductor.role == "shield" for conductor in held):
        return "Buzzes loudly or is dead, and phantom power arrives the wrong way round."
    return "Dead, or the wrong sound in the channel."


def _split_pair(_wiring: Wiring, _fault: Fault) -> str:
    return (
        "Passes sound and every continuity test, but each line is twisted with a stranger: "
        "it picks up hum and its neighbor's sound."
    )


def _high_resistance(_wiring: Wiring, _fault: Fault) -> str:
    return "Works in the shop, then crackles, fades or loses phantom power once it is warm, damp or moved."


def _intermittent(_wiring: Wiring, _fault: Fault) -> str:
    return "Crackles and drops out when the frame rolls or somebody steps on the cable."


def _damage(_wiring: Wiring, _fault: Fault) -> str:
    return "Works today; it is the next one to pull out, crackle or go dead during a show."


_BY_CLASS: Mapping[FaultClass, Callable[[Wiring, Fault], str]] = {
    FaultClass.OPEN: _open,
    FaultClass.SHORT: _short,
    FaultClass.REVERSED_PAIR: _reversed_pair,
    FaultClass.CROSSED_PAIRS: _crossed_pairs,
    FaultClass.CROSSED_LANES: _crossed_lanes,
    FaultClass.MISWIRE: _miswire,
    FaultClass.SPLIT_PAIR: _split_pair,
    FaultClass.HIGH_RESISTANCE: _high_resistance,
    FaultClass.INTERMITTENT: _intermittent,
    FaultClass.DAMAGE: _damage,
}


def _held(wiring: Wiring, fault: Fault) -> list[Conductor]:
    return [wiring.by_name[name] for name in fault.conductors if name in wiring.by_name]
