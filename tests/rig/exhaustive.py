"""What `coilbook rig` has to answer, line by line and rig by rig, written from the contract alone: for small cases."""

from collections import Counter
from collections.abc import Iterator, Mapping
from decimal import ROUND_CEILING, Decimal
from itertools import product
from typing import Any

Layout = Mapping[str, Any]


def distance(one: Layout, other: Layout) -> int:
    """The least whole number that is at least as long as the straight line."""
    square = (one["x"] - other["x"]) ** 2 + (one["y"] - other["y"]) ** 2
    length = int(Decimal(square).sqrt().to_integral_value(ROUND_CEILING))
    while length > 0 and (length - 1) ** 2 >= square:
        length -= 1
    return length


def stretched(layout: Layout, one: Layout, other: Layout) -> int:
    exact = Decimal(distance(one, other)) * Decimal(str(layout["rules"]["slack"]))
    return int(exact.to_integral_value(ROUND_CEILING))


def piece(stock: list[int], need: int, unmet: list[int]) -> int:
    for length in sorted(stock):
        if length >= need:
            return length
    unmet.append(need)
    return max(stock)


def rig(layout: Layout, into: Mapping[str, str], ends: Mapping[str, Layout]) -> dict[str, Any]:
    """Cables, trunks, unmet, plugs, walkers and lines of ways `chain` and `hubs`, one line after the other."""
    stations = {station["name"]: station for station in layout["stations"]}
    rules, cables, unmet = layout["rules"], Counter[int](), list[int]()
    plugs, lines = Counter[str](), Counter[str]()
    walkers = set()
    for station in layout["stations"]:
        for _ in range(station["mics"]):
            at, kind = station["name"], "half"
            while at not in ends:
                to = into[at]
                target = ends[to] if to in ends else stations[to]
                way = stretched(layout, stations[at], target)
                need = stations[at].get(kind, rules[kind]) + (way - rules["gap"] if way > rules["gap"] else 0)
                cables[piece(layout["stock"], need, unmet)] += 1
                plugs[at] += 1
                if to in ends:
                    walkers.add(at)
                    lines[to] += 1
                at, kind = to, "across"
    trunks = Counter(
        piece(layout["trunk_stock"], stretched(layout, end, layout["mixer"]), unmet) for end in ends.values()
    )
    return {
        "cables": {str(length): cables[length] for length in sorted(cables)},
        "trunks": {str(length): trunks[length] for length in sorted(trunks)},
        "unmet": sorted(unmet),
        "plug_ins": dict(sorted(plugs.items())),
        "walkers": sorted(walkers),
        "lines": dict(sorted(lines.items())),
    }


def price(layout: Layout, answer: Layout, hubs: int) -> int:
    prices = layout["prices"]
    pieces = [(prices["cables"], answer["cables"]), (prices["trunks"], answer["trunks"])]
    total = sum(count * cents[length] for cents, counts in pieces for length, count in counts.items())
    return int(total + hubs * prices["hub"])


def rigs(layout: Layout) -> Iterator[tuple[int, dict[str, str]]]:
    """The price and `into` of every rig of way `hubs` that keeps within the limits."""
    stations = {station["name"]: station for station in layout["stations"]}
    limits, hubs = layout.get("limits", {}), layout["hubs"]
    every = [[None, *hubs, *(other for other in stations if other != name)] for name in stations]
    for targets in product(*every):
        into = {name: target for name, target in zip(stations, targets, strict=True) if target is not None}
        if not all(_ends(name, into, hubs) for name in stations if name in into or stations[name]["mics"]):
            continue
        used = {name: hub for name, hub in hubs.items() if name in into.values()}
        answer = rig(layout, into, used)
        is_carried = into.keys() <= answer["plug_ins"].keys()
        within = (
            not answer["unmet"]
            and all(count <= hubs[name]["lines"] for name, count in answer["lines"].items())
            and len(answer["walkers"]) <= limits.get("walkers", 99)
            and max(answer["plug_ins"].values(), default=0) <= limits.get("plug_ins", 999)
            and all(
                distance(stations[name], stations[target]) <= limits.get("reach", 10**9)
                for name, target in into.items()
                if target in stations
            )
        )
        if is_carried and within:
            yield price(layout, answer, len(used)), into


def _ends(name: str, into: Mapping[str, str], hubs: Layout) -> bool:
    for _ in range(len(into) + 1):
        if name in hubs:
            return True
        if name not in into:
            return False
        name = into[name]
    return False
