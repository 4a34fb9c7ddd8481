"""Where things are on the picture of a floor plan: as wide as a page, the front at the bottom. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from service.rig.core.floor import Point
from service.rig.plans import Plan
from service.rig.ways import Rig

WIDE: Final = 420
_EDGE: Final = 44
_LEAST_MM: Final = 3000
"""A floor is shown as if it were at least that large, so that one station does not fill it."""


@dataclass(frozen=True)
class Spot:
    """What stands at a place of the picture; `kind` is station, hub, box or mixer, `lines` its microphones, or what
    arrives at a hub or box.
    """

    name: str
    kind: str
    x: float
    y: float
    lines: int
    walks: bool = False


@dataclass(frozen=True)
class Run:
    """A cable or a trunk from one spot to another, with how many lines it carries."""

    x1: float
    y1: float
    x2: float
    y2: float
    lines: int
    is_trunk: bool = False


@dataclass(frozen=True)
class FloorPicture:
    """A floor plan to draw, `WIDE` wide; `scale` is how many of its units a millimeter is."""

    height: float
    spots: list[Spot]
    runs: list[Run]
    scale: float


def draw(plan: Plan, rig: Rig | None) -> FloorPicture:
    """The picture of a plan, with the cables of a rig if there is one."""
    ends = rig.chains.ends if rig else {}
    places = {"mixer": _point(plan["mixer"])}
    places |= {name: end.at for name, end in ends.items()}
    places |= {station["name"]: _point(station) for station in plan["stations"]}
    left, right = _span(point.x for point in places.values())
    front, back = _span(point.y for point in places.values())
    scale = (WIDE - 2 * _EDGE) / (right - left)
    height = (back - front) * scale + 2 * _EDGE

    def at(name: str) -> tuple[float, float]:
        point = places[name]
        return _EDGE + (point.x - left) * scale, height - _EDGE - (point.y - front) * scale

    arriving, walkers = (rig.chains.arriving(), set(rig.chains.walkers)) if rig else ({}, set())
    spots = [Spot("Mixer", "mixer", *at("mixer"), lines=0)]
    spots += [
        Spot(name, "box" if end.lines is None else "hub", *at(name), lines=arriving.get(name, 0))
        for name, end in ends.items()
    ]
    spots += [
        Spot(one["name"], "station", *at(one["name"]), lines=one["mics"], walks=one["name"] in walkers)
        for one in plan["stations"]
    ]
    runs = []
    if rig:
        leaving = rig.chains.leaving
        runs = [Run(*at(name), *at(rig.chains.into[name]), lines) for name, lines in leaving.items()]
        runs += [Run(*at(name), *at("mixer"), arriving.get(name, 0), is_trunk=True) for name in ends]
    return FloorPicture(height, spots, runs, scale)


def _point(fields: dict[str, int]) -> Point:
    return Point(fields["x"], fields["y"])


def _span(values: Iterable[int]) -> tuple[int, int]:
    known = sorted(values)
    low, high = known[0], known[-1]
    if high - low < _LEAST_MM:
        middle = (low + high) // 2
        return middle - _LEAST_MM // 2, middle + _LEAST_MM // 2
    return low, high
