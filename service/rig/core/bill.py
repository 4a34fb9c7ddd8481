"""What a rig takes: cables by length, boxes or hubs, trunks, price, plugs by performer. Pure."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from service.kit.problems import Problem
from service.rig.core.floor import ChainEnd, Floor, PriceList, shortest


@dataclass(frozen=True)
class Chains:
    """Who leads into whom, and how many lines leave each station that any leave.

    `into` has the station or the end that each station leads into; `ends` are the boxes or hubs.
    """

    into: Mapping[str, str]
    ends: Mapping[str, ChainEnd]
    leaving: Mapping[str, int]

    def end_of(self, name: str) -> str:
        """The box or hub at which the chain of a station ends."""
        while name not in self.ends:
            name = self.into[name]
        return name

    @property
    def walkers(self) -> list[str]:
        """Those who walk to an end: the last of each chain that carries a line, in order of names."""
        return sorted(name for name in self.leaving if self.into[name] in self.ends)

    def arriving(self) -> dict[str, int]:
        """How many lines arrive at each end that any arrive at, in order of names."""
        lines: Counter[str] = Counter()
        for name in self.walkers:
            lines[self.into[name]] += self.leaving[name]
        return dict(sorted(lines.items()))


@dataclass(frozen=True)
class Bill:
    """What is bought: pieces by length, in order, with the needs that no length meets, in order.

    `price` is in cents, of all that has one; `unpriced` names the rest, in order.
    """

    cables: dict[int, int]
    trunks: dict[int, int]
    unmet: list[int]
    price: int
    unpriced: list[str]


def make_chains(floor: Floor, into: Mapping[str, str], ends: Mapping[str, ChainEnd]) -> Chains:
    """The chains of `into`, which names stations, and what each leads into: a station or one of `ends`.

    Raises:
        Problem: where it goes in a circle, where a station that a line leaves is missing, or where an end is over-full.
    """
    leaving = {name: station.mics for name, station in floor.stations.items()}
    for name in _in_order(into, ends):
        if into[name] not in ends:
            leaving[into[name]] += leaving[name]
    for name, lines in leaving.items():
        if lines and name not in into:
            raise Problem(f'{lines} lines leave "{name}", which "into" does not name; say what it leads into.')
    chains = Chains(into, ends, {name: lines for name, lines in sorted(leaving.items()) if lines})
    for name, lines in chains.arriving().items():
        most = ends[name].lines
        if most is not None and lines > most:
            raise Problem(f'{lines} lines arrive at "{name}", which takes {most}; lead some of them into another hub.')
    return chains


def make_bill(floor: Floor, chains: Chains, prices: PriceList, piece: str) -> Bill:
    """What `chains` take; `piece` says whether their ends are hubs ("hub") or boxes ("box")."""
    cables, trunks, unmet = Counter[int](), Counter[int](), []
    for need, count in _cables(floor, chains):
        length = shortest(floor.stock, need)
        cables[length or floor.stock[-1]] += count
        unmet += [need] * (count if length is None else 0)
    for end in chains.ends.values():
        need = floor.trunk(end)
        length = shortest(floor.trunk_stock, need)
        trunks[length or floor.trunk_stock[-1]] += 1
        unmet += [need] if length is None else []
    pieces = [
        *((f"cables {length}", count, prices.cables.get(length)) for length, count in cables.items()),
        *((f"trunks {length}", count, prices.trunks.get(length)) for length, count in trunks.items()),
        *([(piece, len(chains.ends), prices.hub if piece == "hub" else prices.box)] if chains.ends else []),
    ]
    return Bill(
        dict(sorted(cables.items())),
        dict(sorted(trunks.items())),
        sorted(unmet),
        sum(count * price for _, count, price in pieces if price is not None),
        sorted(name for name, _, price in pieces if price is None),
    )


def _cables(floor: Floor, chains: Chains) -> Iterator[tuple[int, int]]:
    """How long cables need to be, and how many of each: on every station one for each line that leaves it."""
    for name, lines in chains.leaving.items():
        station, target = floor.stations[name], chains.into[name]
        on_top = floor.over_gap(
            station.at, chains.ends[target].at if target in chains.ends else floor.stations[target].at
        )
        if station.mics:
            yield station.half + on_top, station.mics
        if lines > station.mics:
            yield station.across + on_top, lines - station.mics


def _in_order(into: Mapping[str, str], ends: Mapping[str, ChainEnd]) -> Iterable[str]:
    """The stations of `into`, each after all that lead into it."""
    before = Counter(target for target in into.values() if target not in ends)
    free = [name for name in into if not before[name]]
    order = []
    while free:
        name = free.pop()
        order.append(name)
        target = into[name]
        if target in ends:
            continue
        before[target] -= 1
        if target in into and not before[target]:
            free.append(target)
    if len(order) < len(into):
        # What is left are circles, and what circles lead into: from any of them the way back stays in a circle.
        circle = min(name for name in into if name not in order)
        raise Problem(f'"{_in_circle(into, circle)}" leads back into itself; let its chain end in a box or hub.')
    return order


def _in_circle(into: Mapping[str, str], name: str) -> str:
    seen = set[str]()
    while name not in seen:
        seen.add(name)
        name = into[name]
    return name
