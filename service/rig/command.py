"""`coilbook rig`: what a way of wiring microphones takes, without a database. One layout of the floor a line:

    {"id": "any", "stations": [{"name": "Vibe 1", "x": 0, "y": 12000, "mics": 1}], "mixer": {"x": 2500, "y": 0},
     "way": "straight", "box": {"x": 0, "y": 6000}, "stock": [1524, 15240], "trunk_stock": [15240],
     "rules": {"half": 1524, "across": 3048, "slack": 1.1, "gap": 3000}, "prices": {"cables": {"15240": 4000}},
     "crew": {"walk_mm_s": 1200, "plug_s": 4, "hands": 2, "ready_s": 20}}

answers with cables and trunks by length, price, plugs by performer and how long it takes to set up:

    {"id": "any", "cables": {"15240": 1}, "hubs": 0, "boxes": 1, "trunks": {"15240": 1}, "unmet": [], "price": 4000,
     "unpriced": ["box", "trunks 15240"], "plug_ins": {"Vibe 1": 1}, "walkers": ["Vibe 1"], "lines": {"box": 1},
     "setup_s": 29.0, "last": "Vibe 1"}

Ways are `straight`, `chain`, `hubs`, and `best`, which finds the cheapest of way `hubs`.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, TextIO

from service.kit.jsonlines import answer_lines, lines_of
from service.rig import layout
from service.rig.core.best import cheapest
from service.rig.core.bill import make_bill, make_chains
from service.rig.core.floor import ChainEnd, Floor, PriceList, SetupCrew
from service.rig.core.setup import setup

_BOX = "box"


def main(stdin: TextIO, stdout: TextIO) -> int:
    """Answer each layout of `stdin` on `stdout`; the exit status is 1 if any line was refused."""
    return answer_lines(lines_of(stdin), stdout, _answer)


def _answer(line: dict[str, Any]) -> dict[str, Any]:
    floor, prices, crew = layout.floor_of(line), layout.prices_of(line), layout.crew_of(line)
    return {"id": line["id"], **_WAYS[layout.way_of(line, list(_WAYS))](line, floor, prices, crew)}


def _straight(line: Mapping[str, Any], floor: Floor, prices: PriceList, crew: SetupCrew) -> dict[str, Any]:
    # Each of them is a chain of its own, and nothing of its way to the box is reached by itself.
    into = {name: _BOX for name, station in floor.stations.items() if station.mics}
    return _rig(replace(floor, gap=0), into, {_BOX: layout.box_of(line)}, prices, crew)


def _chain(line: Mapping[str, Any], floor: Floor, prices: PriceList, crew: SetupCrew) -> dict[str, Any]:
    ends = {_BOX: layout.box_of(line)}
    return _rig(floor, layout.into_of(line, floor, ends), ends, prices, crew)


def _hubs(line: Mapping[str, Any], floor: Floor, prices: PriceList, crew: SetupCrew) -> dict[str, Any]:
    ends = layout.hubs_of(line, floor)
    return _rig(floor, layout.into_of(line, floor, ends), ends, prices, crew)


def _best(line: Mapping[str, Any], floor: Floor, prices: PriceList, crew: SetupCrew) -> dict[str, Any]:
    hubs = layout.hubs_of(line, floor)
    into = cheapest(floor, hubs, layout.all_prices_of(line, floor), layout.limits_of(line))
    used = {name: hubs[name] for name in sorted({*into.values()} & hubs.keys())}
    return {**_rig(floor, into, used, prices, crew), "into": into, "used": list(used)}


def _rig(
    floor: Floor, into: Mapping[str, str], ends: Mapping[str, ChainEnd], prices: PriceList, crew: SetupCrew
) -> dict[str, Any]:
    chains = make_chains(floor, into, ends)
    piece = _BOX if _BOX in ends and ends[_BOX].lines is None else "hub"
    bill, done = make_bill(floor, chains, prices, piece), setup(floor, chains, crew)
    return {
        "cables": {str(length): count for length, count in bill.cables.items()},
        "hubs": len(ends) if piece == "hub" else 0,
        "boxes": len(ends) if piece == _BOX else 0,
        "trunks": {str(length): count for length, count in bill.trunks.items()},
        "unmet": bill.unmet,
        "price": bill.price,
        "unpriced": bill.unpriced,
        "plug_ins": dict(chains.leaving),
        "walkers": chains.walkers,
        "lines": chains.arriving(),
        "setup_s": done.seconds,
        "last": done.last,
    }


_WAYS = {"straight": _straight, "chain": _chain, "hubs": _hubs, "best": _best}
