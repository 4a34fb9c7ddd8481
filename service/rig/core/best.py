"""The cheapest rig of chains into hubs within limits, exactly, as a mixed-integer program. Pure.

Variables, for each connection of a station with another one or with a hub: whether it is made, and how many lines of
other stations cross on it; for each hub: whether it is bought. What leaves a station is its own lines and those that
come in, and all goes the one way that it leads into. Lines that go in a circle would grow without end where a
microphone stands in it, so no station that a line leaves is in one.

Solved by HiGHS (scipy.optimize.milp) with no gap left between the best rig and the bound of all others.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from math import inf
from typing import Final

from service.kit.problems import Problem
from service.rig.core.floor import ChainEnd, Floor, Point, PriceList, distance, shortest

_OPTIMAL, _INFEASIBLE = 0, 2
"""What `scipy.optimize.milp` says of its end."""
_NOTHING: Final = (
    "No rig keeps within the limits: allow more walkers, more plugs or a longer reach, "
    "or give more hubs or longer cables."
)


@dataclass(frozen=True)
class RigLimits:
    """How many may walk, how many plugs one performer has, how far one station leads into another; inf is no limit."""

    walkers: float = inf
    plug_ins: float = inf
    reach: float = inf


@dataclass(frozen=True)
class _Connection:
    """From a station to a station or hub. `own` is the price of its own lines' cables, `crossing` that of one more.

    `most` is how many lines of other stations can cross.
    """

    station: str
    into: str
    own: int
    crossing: int
    most: int


def cheapest(floor: Floor, hubs: Mapping[str, ChainEnd], prices: PriceList, limits: RigLimits) -> dict[str, str]:
    """What each station that a line leaves leads into, in one of the cheapest rigs; `prices` has all but the box.

    Raises:
        Problem: where no rig keeps within the limits.
    """
    mics = {name: station.mics for name, station in floor.stations.items()}
    lines = sum(mics.values())
    if not lines:
        return {}
    hub_prices = {
        name: prices.trunks[length] + (prices.hub or 0)
        for name, hub in hubs.items()
        if (length := shortest(floor.trunk_stock, floor.trunk(hub))) is not None
    }
    room = {name: hubs[name].lines or 0 for name in hub_prices}
    connections = _connections(floor, {name: hubs[name].at for name in room}, room, prices, limits)
    # Asked first, since the solver takes neither an empty program nor a bound that is infinite.
    leading = {connection.station for connection in connections}
    if sum(room.values()) < lines or any(own and name not in leading for name, own in mics.items()):
        raise Problem(_NOTHING)
    made = _solved(mics, connections, room, hub_prices, limits)
    into = {
        connection.station: connection.into for connection, is_made in zip(connections, made, strict=True) if is_made
    }
    used: dict[str, str] = {}
    for name, own in mics.items():
        while own and name in into and name not in used:
            used[name] = into[name]
            name = into[name]
    return dict(sorted(used.items()))


def _connections(
    floor: Floor, hubs: Mapping[str, Point], room: Mapping[str, int], prices: PriceList, limits: RigLimits
) -> list[_Connection]:
    """Those that can be made: stations within reach, and with cables that are long enough."""
    lines = sum(station.mics for station in floor.stations.values())
    connections = []
    for station in floor.stations.values():
        targets = {
            name: other.at
            for name, other in floor.stations.items()
            if name != station.name and distance(station.at, other.at) <= limits.reach
        }
        for name, at in (*targets.items(), *hubs.items()):
            on_top = floor.over_gap(station.at, at)
            own, crossing = (shortest(floor.stock, need + on_top) for need in (station.half, station.across))
            left = int(min(limits.plug_ins, room.get(name, lines), lines)) - station.mics
            most = left if crossing else min(left, 0)
            if most < 0 or (station.mics and not own) or not station.mics + most:
                continue
            own_price = station.mics * prices.cables[own] if own else 0
            connections.append(
                _Connection(station.name, name, own_price, prices.cables[crossing] if crossing else 0, most)
            )
    return connections


def _solved(
    mics: Mapping[str, int],
    connections: Sequence[_Connection],
    room: Mapping[str, int],
    hub_prices: Mapping[str, int],
    limits: RigLimits,
) -> list[bool]:
    """Which connections the cheapest rig makes.

    The variables are, in this order: whether each connection is made, how many lines cross on each, whether each hub
    is bought.
    """
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    count = len(connections)
    bought = {name: 2 * count + number for number, name in enumerate(room)}
    rows = [*_ways(mics, connections, limits), *_bought(mics, connections, room, bought)]
    entries = [(number, *entry) for number, row in enumerate(rows) for entry in row.of.items()]
    matrix = csr_array(
        ([factor for _, _, factor in entries], ([row for row, _, _ in entries], [column for _, column, _ in entries])),
        shape=(len(rows), 2 * count + len(room)),
        dtype=float,
    )
    answer = milp(
        np.array(
            [*(each.own for each in connections), *(each.crossing for each in connections), *hub_prices.values()], float
        ),
        integrality=np.array([1] * count + [0] * count + [1] * len(room)),
        bounds=Bounds(0, np.array([1] * count + [each.most for each in connections] + [1] * len(room), float)),
        constraints=LinearConstraint(matrix, [row.least for row in rows], [row.most for row in rows]),
        options={"mip_rel_gap": 0},
    )
    if answer.status == _INFEASIBLE:
        raise Problem(_NOTHING)
    if answer.status != _OPTIMAL:
        raise Problem(f"The cheapest rig was not proven: {answer.message}")
    return [bool(value > 0.5) for value in np.asarray(answer.x)[:count]]


@dataclass(frozen=True)
class _Row:
    """A linear constraint: the sum of factors times variables is from `least` to `most`."""

    of: Mapping[int, float]
    least: float
    most: float


def _ways(mics: Mapping[str, int], connections: Sequence[_Connection], limits: RigLimits) -> Iterator[_Row]:
    """Each station leads into one other at the most, and all lines go on."""
    count = len(connections)
    numbers = {(each.station, each.into): number for number, each in enumerate(connections)}
    for number, each in enumerate(connections):
        yield _Row({count + number: 1, number: -each.most}, -inf, 0)
        back = numbers.get((each.into, each.station))
        if back is not None and number < back:
            # Follows from the rest, but not for fractions: this proves much sooner.
            yield _Row({number: 1, back: 1}, -inf, 1)
    for name, own in mics.items():
        out = [number for number, each in enumerate(connections) if each.station == name]
        into = [number for number, each in enumerate(connections) if each.into == name]
        yield _Row(dict.fromkeys(out, 1), 1 if own else 0, 1)
        goes = {count + number: 1.0 for number in out}
        comes = {count + number: -1.0 for number in into} | {
            number: -float(mics[connections[number].station]) for number in into
        }
        yield _Row(goes | comes, 0, 0)
    yield _Row({number: 1 for number, each in enumerate(connections) if each.into not in mics}, -inf, limits.walkers)


def _bought(
    mics: Mapping[str, int],
    connections: Sequence[_Connection],
    room: Mapping[str, int],
    bought: Mapping[str, int],
) -> Iterator[_Row]:
    """Only hubs that are bought are led into, and by no more lines than they take."""
    count = len(connections)
    for name, lines in room.items():
        into = [number for number, each in enumerate(connections) if each.into == name]
        yield from (_Row({number: 1, bought[name]: -1}, -inf, 0) for number in into)
        own = {number: float(mics[connections[number].station]) for number in into}
        crossing = {count + number: 1.0 for number in into}
        yield _Row(own | crossing | {bought[name]: -float(lines)}, -inf, 0)
    # As many hubs as take all lines: it follows as well, and proves much sooner.
    most = accumulate(sorted(room.values(), reverse=True))
    least = next((number for number, lines in enumerate(most, 1) if lines >= sum(mics.values())), inf)
    yield _Row(dict.fromkeys(bought.values(), 1), least, inf)
