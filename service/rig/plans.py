"""A floor plan as it is stored, wired in four ways side by side. Pure.

A plan is a layout of `coilbook rig` without its way. `into` has only who was said to lead into whom; the rest is
suggested. `category` has the lengths and prices of category cable, which may be the trunk in place of a multicore.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from service.kit.problems import Problem
from service.rig import layout
from service.rig.core.suggestion import suggested_into
from service.rig.ways import BOX, Rig, RigWay, rig_of

Plan = Mapping[str, Any]

WINDOW_S: Final = (120, 180)
"""How long there is to set up at a show, from and to (common practice, no source)."""

STATIONS_SOLVED, HUBS_SOLVED = 16, 8
"""So large a plan the solver is given by a page: 14 stations and 6 hubs took it 2.95 s at most."""

NEW: Final[Plan] = {
    "stations": [],
    "mixer": {"x": 6096, "y": 0},
    "box": {"x": 6096, "y": 3048},
    "hubs": {"Hub 1": {"x": 6096, "y": 4572, "lines": 8}},
    "into": {},
    "stock": [1524, 3048, 4572, 7620, 15240],
    "trunk_stock": [7620, 15240, 30480],
    "rules": {"half": 1524, "across": 3048, "slack": 1.1, "gap": 3048},
    "prices": {"cables": {}, "trunks": {}},
    "category": {"trunk_stock": [7620, 15240, 30480], "trunks": {}},
    "crew": {"walk_mm_s": 1200, "plug_s": 4, "hands": 2, "ready_s": 20},
    "limits": {},
}
"""A new plan: 10 ft across a mallet instrument and 5 ft halfway, eight lines a hub (common practice, no source)."""


@dataclass(frozen=True)
class ComparedWay:
    """A plan wired in one way: its key in addresses, its title, and the rig, or the `problem` because of which it
    cannot be wired so.
    """

    key: str
    title: str
    rig: Rig | None = None
    problem: str = ""

    @property
    def fits(self) -> bool:
        """Whether it is set up within the window."""
        return self.rig is not None and self.rig.done.seconds <= WINDOW_S[1]


def compare(plan: Plan) -> list[ComparedWay]:
    """The plan in each way, in the order in which pages show them."""
    return [_in_way(plan, key, title, way) for key, (title, way) in _WAYS.items()]


def cheapest(plan: Plan, walkers: int | None = None) -> ComparedWay:
    """The cheapest way with hubs and multicores within the limits of the plan, or with so many walkers at the most,
    proven by a solver, which may take seconds; the last answers are kept.
    """
    return _solved(json.dumps(plan, sort_keys=True), walkers)


def by_walkers(plan: Plan) -> list[ComparedWay]:
    """The cheapest way with one walker at the most, with two, and so on, until more make nothing cheaper."""
    best = cheapest(plan)
    if best.rig is None:
        return [best]
    return [cheapest(plan, walkers) for walkers in range(1, len(best.rig.chains.walkers) + 1)]


def find_way(plan: Plan, key: str) -> ComparedWay | None:
    """The way with this key beside those of `compare`: the cheapest, or that with so many walkers."""
    name, _, number = key.partition("-")
    if key == _BEST:
        return cheapest(plan)
    if name == _WALKERS and number.isascii() and number.isdigit() and 0 < int(number[:4]) <= len(plan["stations"]):
        return cheapest(plan, int(number[:4]))
    return None


@lru_cache(maxsize=128)
def _solved(plan: str, walkers: int | None) -> ComparedWay:
    fields = json.loads(plan)
    if len(fields["stations"]) > STATIONS_SOLVED or len(fields["hubs"]) > HUBS_SOLVED:
        most = f"The cheapest is looked for among {STATIONS_SOLVED} stations and {HUBS_SOLVED} hubs at the most"
        return ComparedWay(_BEST, "The cheapest with hubs", problem=f"{most}: more would take too long.")
    if walkers is None:
        return _in_way(fields, _BEST, "The cheapest with hubs", RigWay.BEST)
    who = "one walker" if walkers == 1 else f"{walkers} walkers"
    limited = {**fields, "limits": {**fields["limits"], "walkers": walkers}}
    return _in_way(limited, f"{_WALKERS}-{walkers}", f"Hubs, {who}", RigWay.BEST)


_BEST, _WALKERS = "best", "walkers"
_WAYS: Final = {
    "straight": ("Straight to one box", RigWay.STRAIGHT),
    "chain": ("Chains to one box", RigWay.CHAIN),
    "hubs": ("Chains to hubs, multicores", RigWay.HUBS),
    "category": ("Chains to hubs, category cable", RigWay.HUBS),
}


def _in_way(plan: Plan, key: str, title: str, way: RigWay) -> ComparedWay:
    try:
        return ComparedWay(key, title, rig_of(_fields(plan, key, way), way))
    except Problem as problem:
        return ComparedWay(key, title, problem=problem.detail)


def _fields(plan: Plan, key: str, way: RigWay) -> dict[str, Any]:
    """The layout of one way: with its trunks, and with all that leads into something there."""
    fields = {**plan}
    if key == "category":
        fields["trunk_stock"] = plan["category"]["trunk_stock"]
        fields["prices"] = {**plan["prices"], "trunks": plan["category"]["trunks"]}
    if way in (RigWay.CHAIN, RigWay.HUBS):
        floor = layout.floor_of(fields)
        ends = {BOX: layout.box_of(fields)} if way is RigWay.CHAIN else layout.hubs_of(fields, floor)
        chosen = {name: into for name, into in plan["into"].items() if into in ends or into in floor.stations}
        fields["into"] = suggested_into(floor, ends) | chosen
    return fields


def channels_of(plan: Plan, rig: Rig) -> list[tuple[str, str]]:
    """The channels of a rig, numbered from 1 on hub by hub: of each its source, and the station where that stands."""
    order = {station["name"]: number for number, station in enumerate(plan["stations"])}
    stations = sorted(rig.chains.leaving, key=lambda name: (rig.chains.end_of(name), order[name]))
    return [
        (name if many == 1 else f"{name}, microphone {one}", name)
        for name in stations
        for many in (rig.floor.stations[name].mics,)
        for one in range(1, many + 1)
    ]


def check(plan: Plan) -> None:
    """Check that a plan can be read.

    Raises:
        Problem: naming what is wrong.
    """
    if unknown := sorted(plan.keys() - NEW.keys()):
        raise Problem(f'"{unknown[0][:40]}" is no part of a plan; it has {", ".join(NEW)}.')
    floor = layout.floor_of(plan)
    layout.box_of(plan)
    hubs = layout.hubs_of(plan, floor)
    layout.prices_of(plan)
    layout.crew_of(plan)
    layout.limits_of(plan)
    layout.into_of(plan, floor, {**hubs, BOX: layout.box_of(plan)})
    if BOX in floor.stations or BOX in hubs:
        raise Problem(f'Nothing else may be named "{BOX}"; give it another name.')
