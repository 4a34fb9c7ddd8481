"""The ways of wiring a layout: straight, chain, hubs, and the cheapest one with hubs. Pure.

A layout is the JSON object of `coilbook rig`, read by `service.rig.layout`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, Final

from service.rig import layout
from service.rig.core.best import cheapest
from service.rig.core.bill import Bill, Chains, make_bill, make_chains
from service.rig.core.floor import ChainEnd, Floor
from service.rig.core.setup import SetupTime, setup

BOX: Final = "box"


class RigWay(StrEnum):
    """How microphones are wired."""

    STRAIGHT = "straight"
    CHAIN = "chain"
    HUBS = "hubs"
    BEST = "best"


@dataclass(frozen=True)
class Rig:
    """A layout wired in one way: who leads into whom, what is bought, how long it takes to set up.

    `boxes` and `hubs` are how many of each there are.
    """

    floor: Floor
    chains: Chains
    bill: Bill
    done: SetupTime
    boxes: int
    hubs: int


def rig_of(fields: Mapping[str, Any], way: RigWay) -> Rig:
    """The layout wired in a way.

    Raises:
        Problem: what the layout lacks, names wrongly, or cannot be wired.
    """
    floor, prices, crew = layout.floor_of(fields), layout.prices_of(fields), layout.crew_of(fields)

    def rig(into: Mapping[str, str], ends: Mapping[str, ChainEnd], floor: Floor = floor) -> Rig:
        chains = make_chains(floor, into, ends)
        is_box = BOX in ends and ends[BOX].lines is None
        bill = make_bill(floor, chains, prices, BOX if is_box else "hub")
        return Rig(floor, chains, bill, setup(floor, chains, crew), len(ends) * is_box, len(ends) * (not is_box))

    match way:
        case RigWay.STRAIGHT:
            # Each of them is a chain of its own, and nothing of its way to the box is reached by itself.
            into = {name: BOX for name, station in floor.stations.items() if station.mics}
            return rig(into, {BOX: layout.box_of(fields)}, replace(floor, gap=0))
        case RigWay.CHAIN:
            ends = {BOX: layout.box_of(fields)}
            return rig(layout.into_of(fields, floor, ends), ends)
        case RigWay.HUBS:
            ends = layout.hubs_of(fields, floor)
            return rig(layout.into_of(fields, floor, ends), ends)
        case RigWay.BEST:
            hubs = layout.hubs_of(fields, floor)
            into = cheapest(floor, hubs, layout.all_prices_of(fields, floor), layout.limits_of(fields))
            return rig(into, {name: hubs[name] for name in sorted({*into.values()} & hubs.keys())})
