"""Realistic faults for the demo: those that a wiring tends to get, and what a tester reads of them."""

from dataclasses import dataclass
from random import Random

from service.wiring.faults import EvidenceClass, Fault, FaultClass
from service.wiring.wirings import Wiring


@dataclass(frozen=True)
class DemoFinding:
    """The finding of a test in the demo: faults that readings show, or other evidence with its end and a note."""

    faults: tuple[Fault, ...] = ()
    evidence: tuple[tuple[EvidenceClass, str, str], ...] = ()


def pick(wiring: Wiring, random: Random) -> DemoFinding:
    """A random finding for an item with this wiring."""
    if len(wiring.conductors) > 3:
        return _on_multicore(wiring, random)
    shield, hot, cold = (wire.name for wire in sorted(wiring.conductors, key=lambda wire: _ROLES.index(wire.role)))
    draw = random.random()
    if draw < 0.22:
        return DemoFinding((Fault(FaultClass.OPEN, (shield,)),))
    if draw < 0.42:
        return DemoFinding((Fault(FaultClass.OPEN, (hot,)),))
    if draw < 0.57:
        return DemoFinding((Fault(FaultClass.OPEN, (cold,)),))
    if draw < 0.67:
        return DemoFinding((Fault(FaultClass.SHORT, _in_order(wiring, shield, hot)),))
    if draw < 0.76:
        return DemoFinding((Fault(FaultClass.REVERSED_PAIR, _in_order(wiring, hot, cold)),))
    if draw < 0.92:
        return DemoFinding(evidence=((FaultClass.INTERMITTENT, random.choice("AB"), "crackles when bent"),))
    return DemoFinding(evidence=((FaultClass.DAMAGE, "B", random.choice(_DAMAGE)),))


_ROLES = ("shield", "hot", "cold", "single")
_DAMAGE = ("latch worn, falls out", "sticks in the socket", "jacket cut near the plug")


def _on_multicore(wiring: Wiring, random: Random) -> DemoFinding:
    wires = wiring.conductors
    draw = random.random()
    if draw < 0.45:
        return DemoFinding((Fault(FaultClass.OPEN, (random.choice(wires).name,)),))
    if draw < 0.75:
        return DemoFinding(evidence=((FaultClass.DAMAGE, "A", f"contact {random.choice(wires).a[1:]} bent"),))
    at = random.randrange(len(wires) - 1)
    return DemoFinding((Fault(FaultClass.SHORT, (wires[at].name, wires[at + 1].name)),))


def _in_order(wiring: Wiring, *names: str) -> tuple[str, ...]:
    return tuple(wire.name for wire in wiring.conductors if wire.name in names)
