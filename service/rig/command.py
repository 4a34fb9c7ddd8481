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

from typing import Any, TextIO

from service.kit.jsonlines import answer_lines, lines_of
from service.rig import layout
from service.rig.ways import RigWay, rig_of


def main(stdin: TextIO, stdout: TextIO) -> int:
    """Answer each layout of `stdin` on `stdout`; the exit status is 1 if any line was refused."""
    return answer_lines(lines_of(stdin), stdout, _answer)


def _answer(line: dict[str, Any]) -> dict[str, Any]:
    way = layout.way_of(line, list(RigWay))
    rig = rig_of(line, RigWay(way))
    bill, chains = rig.bill, rig.chains
    answer = {
        "id": line["id"],
        "cables": {str(length): count for length, count in bill.cables.items()},
        "hubs": rig.hubs,
        "boxes": rig.boxes,
        "trunks": {str(length): count for length, count in bill.trunks.items()},
        "unmet": bill.unmet,
        "price": bill.price,
        "unpriced": bill.unpriced,
        "plug_ins": dict(chains.leaving),
        "walkers": chains.walkers,
        "lines": chains.arriving(),
        "setup_s": rig.done.seconds,
        "last": rig.done.last,
    }
    return answer | ({"into": dict(chains.into), "used": list(chains.ends)} if way == RigWay.BEST else {})
