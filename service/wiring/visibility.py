"""What a way of testing can see of a cable: the same cut-down view of a sound cable and of a faulty one.

A view is taken from full readings (`rebuild`), so nothing here is a table of what a method finds: two cables whose
views are alike are alike to whoever looks that way.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from enum import Enum, StrEnum
from functools import lru_cache

from service.wiring.circuit import Resistor, node_volts
from service.wiring.phantom import COLD, HOT, LOAD_OHM, Bench
from service.wiring.wirings import Conductor, Readings, Wiring


class Level(Enum):
    """How sound comes out of a line."""

    FULL = "full"
    WEAK = "weak"  # by one leg only: an ear may notice, or not
    NONE = "none"


Line = tuple[Conductor | None, Conductor, Conductor]
"""Shield (where the wiring has one for it), hot and cold of one line."""

_BENCH = Bench()


class Visibility(StrEnum):
    """What can be seen."""

    STRAIGHT = "straight"  # lamps: does each conductor reach its own contact?
    CROSS = "cross"  # lamps: which contacts of one end does each contact of the other reach?
    METER = "meter"  # continuity between any two contacts, shells too
    PHANTOM = "phantom"  # volts at the far end without a load, every line powered
    PHANTOM_LOADED = "phantom_loaded"  # the same, with the uneven load on the line that is read
    LISTENING = "listening"  # sound through one line after the other


View = Sequence[object]
"""What is seen, part by part: lamps, groups, levels or volts."""


def view(wiring: Wiring, visibility: Visibility, readings: Readings) -> View:
    """A cable with these readings as it looks to `sight`; compare views with `alike`."""
    if visibility is Visibility.METER:
        return [readings.groups]
    node = _nodes(wiring, readings)
    if visibility is Visibility.STRAIGHT:
        return [node[wire.a] == node[wire.b] for wire in wiring.conductors]
    if visibility is Visibility.CROSS:
        return [node[one.a] == node[other.b] for one in wiring.conductors for other in wiring.conductors]
    if visibility is Visibility.LISTENING:
        return list(_heard(wiring, node))
    return list(_volts(wiring, node, loaded=visibility is Visibility.PHANTOM_LOADED))


def alike(one: View, other: View) -> bool:
    """Whether nobody who looks that way can surely tell the two views apart."""
    return one == other or not any(_apart(a, b) for a, b in zip(one, other, strict=True))


@lru_cache
def lines(wiring: Wiring) -> Sequence[Line]:
    """The balanced lines of a wiring, each with the shield of its lane, or else the only shield there is."""
    shields = [wire for wire in wiring.conductors if wire.role == "shield"]
    balanced = []
    for pair in wiring.pairs.values():
        hot, cold = sorted(pair, key=lambda wire: wire.role != "hot")
        own = [wire for wire in shields if wire.lane == hot.lane]
        balanced.append((own[0] if len(own) == 1 else None, hot, cold))
    return tuple(balanced)


def _heard(wiring: Wiring, node: Mapping[str, str]) -> Iterator[Level]:
    """How sound sent into each line comes out of each."""
    for wire in wiring.conductors:
        if wire.role == "single":
            yield Level.FULL if node[wire.a] == node[wire.b] else Level.NONE
    balanced = lines(wiring)
    for _, hot, cold in balanced:
        sent = {node[hot.a], node[cold.a]}
        for _, far_hot, far_cold in balanced:
            come = {node[far_hot.b], node[far_cold.b]}
            if len(sent) < 2 or len(come) < 2 or not sent & come:
                yield Level.NONE
            else:
                yield Level.FULL if sent == come else Level.WEAK


def _volts(wiring: Wiring, node: Mapping[str, str], *, loaded: bool) -> Iterator[float]:
    """Volts from hot and from cold to the shield at the far end of each line, read one line at a time.

    Nodes meet only at the supply and at ground, which hold their volts, so the three of a line are its circuit.
    """
    feeds = Counter(node[contact] for _, hot, cold in lines(wiring) for contact in (hot.a, cold.a))
    ground = {node[shield.a]: 0.0 for shield, _, _ in lines(wiring) if shield}
    held = {"plus": _BENCH.supply_volts, **ground}
    for shield, hot, cold in lines(wiring):
        if shield is None:
            continue
        far_hot, far_cold, far_shield = node[hot.b], node[cold.b], node[shield.b]
        network: list[Resistor] = [
            ("plus", fed, _BENCH.feed_ohm / feeds[fed]) for fed in sorted({far_hot, far_cold, far_shield}) if feeds[fed]
        ]
        if loaded:
            network.append((far_hot, far_shield, LOAD_OHM[HOT]))
            network.append((far_cold, far_shield, LOAD_OHM[COLD]))
        for leg in (far_hot, far_cold):
            volts = node_volts([*network, (leg, far_shield, _BENCH.meter_ohm)], held)
            yield volts[leg] - volts[far_shield]


def _apart(one: object, other: object) -> bool:
    """Whether two parts of a view surely differ: volts by more than the supply's own tolerance and the meter's."""
    if isinstance(one, Level):
        return Level.WEAK not in (one, other) and one is not other
    if isinstance(one, float) and isinstance(other, float):
        more = max(abs(one), abs(other))
        return abs(one - other) > more * _BENCH.supply_off / _BENCH.supply_volts + _BENCH.meter.error(more)
    return one != other


def _nodes(wiring: Wiring, readings: Readings) -> dict[str, str]:
    """The name of the node that each contact is part of: its own, or its group's."""
    node = {}
    for contact, bit in wiring.bit.items():
        group = next((group for group in readings.groups if group & bit), bit)
        node[contact] = f"node {group}"
    return node
