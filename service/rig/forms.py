"""Reading the forms of a rig: stations, hubs, and what pieces cost; each gives the plan as it is then."""

import re
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from service.kit.problems import Invalid, Problem, invalid
from service.kit.quantities import Unit, format_length, format_money, parse_length, parse_money
from service.kit.text import one_line, parse_count
from service.rig.plans import Plan

STATION = {
    "name": "Station",
    "x": "From the left",
    "y": "From the front",
    "mics": "Microphones",
    "half": "Cable of its own microphones",
    "across": "Cable across",
    "into": "Leads into",
}
HUB = {"name": "Hub", "x": "From the left", "y": "From the front", "lines": "Lines"}
RULES = {
    "mixer_x": "Mixer from the left",
    "mixer_y": "Mixer from the front",
    "box_x": "Box from the left",
    "box_y": "Box from the front",
    "cables": "Cables",
    "trunks": "Multicores",
    "category": "Category cables",
    "hub": "Price of a hub",
    "box": "Price of a box",
    "half": "Halfway",
    "across": "Across",
    "slack": "Slack",
    "gap": "Reaches a neighbor",
    "walk": "Walking, in meters a second",
    "plug": "Seconds a plug",
    "hands": "Plug at once",
    "ready": "Seconds until all stand ready",
}
"""The fields of the forms, with their labels."""
LINES_MOST, MICS_MOST, HANDS_MOST, NAME_MOST = 64, 32, 20, 40
RIG_NAME_MOST = 60
_BARE = re.compile(r"\d+(?:[.,]\d+)?")
_NOTHING = re.compile(r"0(?:[.,]0+)?(?: ?(?:ft|m|feet|meters|'))?")
T = TypeVar("T")


def read_name(typed: str) -> str:
    """The name of a rig.

    Raises:
        Invalid: it has none, or it is too long.
    """
    name = one_line(typed)
    if not 1 <= len(name) <= RIG_NAME_MOST:
        raise invalid("name", f"Give the rig a name of {RIG_NAME_MOST} characters at the most.")
    return name


class _Read:
    """Reads fields, and collects a sentence for each that is wrong."""

    def __init__(self, typed: Mapping[str, Any], unit: Unit) -> None:
        self._typed, self._unit, self._errors = typed, unit, dict[str, str]()

    def text(self, name: str) -> str:
        return one_line(str(self._typed.get(name) or ""))

    def tried(self, name: str, read: Callable[[], T], instead: T) -> T:
        try:
            return read()
        except Problem as problem:
            self._errors[name] = problem.detail
            return instead

    def length(self, name: str) -> int:
        """A length; a bare number is one in the program's unit, and 0 is allowed."""
        return self.tried(name, lambda: _length(self.text(name), self._unit), 0)

    def count(self, name: str, least: int, most: int) -> int:
        return self.tried(name, lambda: parse_count(self.text(name), name, least, most), least)

    def number(self, name: str, least: float) -> float:
        return self.tried(name, lambda: _number(self.text(name), name, least), least)

    def refuse(self, name: str, sentence: str) -> None:
        self._errors[name] = sentence

    def finish(self) -> None:
        """Raise all that was wrong."""
        if self._errors:
            raise Invalid(" ".join(self._errors.values()), self._errors)


def station_values(plan: Plan, name: str, unit: Unit) -> dict[str, str]:
    """A station as its form has it; a new one without a name."""
    for station in plan["stations"]:
        if station["name"] == name:
            lengths = {key: format_length(station[key], unit) for key in ("half", "across") if key in station}
            at = {key: _shown(station[key], unit) for key in ("x", "y")}
            return {"name": name, "mics": str(station["mics"]), "into": plan["into"].get(name, ""), **at, **lengths}
    return {"mics": "1"}


def with_station(plan: Plan, was: str, typed: Mapping[str, Any], unit: Unit) -> Plan:
    """The plan with a station as it was typed; `was` is its name until then, empty for a new one.

    Raises:
        Invalid: with a sentence for each field that is wrong.
    """
    read = _Read(typed, unit)
    name = _name(read, plan, was)
    station: dict[str, Any] = {"name": name, "x": read.length("x"), "y": read.length("y")}
    station["mics"] = read.count("mics", 0, MICS_MOST)
    station |= {key: read.length(key) for key in ("half", "across") if read.text(key)}
    into = read.text("into")
    if into and into not in ("box", *plan["hubs"], *(one["name"] for one in plan["stations"])):
        read.refuse("into", f"“{into[:40]}” is no station and no hub of this rig.")
    read.finish()
    stations = [station if one["name"] == was else one for one in plan["stations"]]
    renamed = _renamed(plan["into"], was, name) | {name: into}
    return {
        **plan,
        "stations": stations if was else [*stations, station],
        "into": {one: target for one, target in renamed.items() if target},
    }


def without_station(plan: Plan, name: str) -> Plan:
    """The plan without a station; who led into it is suggested anew."""
    return {
        **plan,
        "stations": [one for one in plan["stations"] if one["name"] != name],
        "into": {one: target for one, target in plan["into"].items() if name not in (one, target)},
    }


def hub_values(plan: Plan, name: str, unit: Unit) -> dict[str, str]:
    """A hub as its form has it; a new one without a name."""
    hub = plan["hubs"].get(name)
    if hub is None:
        return {"lines": "8"}
    at = {key: _shown(hub[key], unit) for key in ("x", "y")}
    return {"name": name, "lines": str(hub["lines"]), **at}


def with_hub(plan: Plan, was: str, typed: Mapping[str, Any], unit: Unit) -> Plan:
    """The plan with a hub as it was typed; `was` is its name until then, empty for a new one.

    Raises:
        Invalid: with a sentence for each field that is wrong.
    """
    read = _Read(typed, unit)
    name = _name(read, plan, was)
    hub = {"x": read.length("x"), "y": read.length("y"), "lines": read.count("lines", 1, LINES_MOST)}
    read.finish()
    hubs = {name if one == was else one: hub if one == was else fields for one, fields in plan["hubs"].items()}
    return {**plan, "hubs": hubs | {name: hub}, "into": _renamed(plan["into"], was, name)}


def without_hub(plan: Plan, name: str) -> Plan:
    """The plan without a hub.

    Raises:
        Invalid: it is the last one.
    """
    hubs = {one: fields for one, fields in plan["hubs"].items() if one != name}
    if not hubs:
        raise invalid("name", "The last hub stays: without one there is no way with hubs to compare.")
    return {**plan, "hubs": hubs, "into": {one: target for one, target in plan["into"].items() if target != name}}


def rules_values(plan: Plan, unit: Unit) -> dict[str, str]:
    """Mixer, box, prices, rules and performers as their form has them."""
    prices, rules, crew = plan["prices"], plan["rules"], plan["crew"]
    return {
        **{f"{what}_{key}": _shown(plan[what][key], unit) for what in ("mixer", "box") for key in ("x", "y")},
        "cables": _listed(plan["stock"], prices.get("cables", {}), unit),
        "trunks": _listed(plan["trunk_stock"], prices.get("trunks", {}), unit),
        "category": _listed(plan["category"]["trunk_stock"], plan["category"]["trunks"], unit),
        **{name: format_money(prices[name]) if name in prices else "" for name in ("hub", "box")},
        **{name: _shown(rules[name], unit) for name in ("half", "across", "gap")},
        "slack": f"{rules['slack']:g}",
        "walk": f"{crew['walk_mm_s'] / 1000:g}",
        "plug": f"{crew['plug_s']:g}",
        "hands": str(crew["hands"]),
        "ready": f"{crew['ready_s']:g}",
    }


def with_rules(plan: Plan, typed: Mapping[str, Any], unit: Unit) -> Plan:
    """The plan with mixer, box, prices, rules and performers as they were typed.

    Raises:
        Invalid: with a sentence for each field that is wrong.
    """
    read = _Read(typed, unit)
    empty: tuple[list[int], dict[str, int]] = [1], {}
    lists = {
        name: read.tried(name, lambda name=name: _priced(str(typed.get(name) or ""), name, unit), empty)  # type: ignore[misc]
        for name in ("cables", "trunks", "category")
    }
    pieces = {
        name: read.tried(name, lambda name=name: parse_money(read.text(name), name), 0)  # type: ignore[misc]
        for name in ("hub", "box")
        if read.text(name)
    }
    made = {
        **plan,
        **{what: {"x": read.length(f"{what}_x"), "y": read.length(f"{what}_y")} for what in ("mixer", "box")},
        "stock": lists["cables"][0],
        "trunk_stock": lists["trunks"][0],
        "prices": {"cables": lists["cables"][1], "trunks": lists["trunks"][1], **pieces},
        "category": {"trunk_stock": lists["category"][0], "trunks": lists["category"][1]},
        "rules": {
            "half": read.length("half"),
            "across": read.length("across"),
            "slack": read.number("slack", 1),
            "gap": read.length("gap"),
        },
        "crew": {
            "walk_mm_s": round(read.number("walk", 0.1) * 1000),
            "plug_s": read.number("plug", 0.1),
            "hands": read.count("hands", 1, HANDS_MOST),
            "ready_s": read.number("ready", 0),
        },
    }
    read.finish()
    return made


def _name(read: _Read, plan: Plan, was: str) -> str:
    name = read.text("name")
    others = {one["name"] for one in plan["stations"]} | set(plan["hubs"]) - {was}
    if not 1 <= len(name) <= NAME_MOST:
        read.refuse("name", f"Give it a name of {NAME_MOST} characters at the most.")
    elif name == "box":
        read.refuse("name", "The box of a home run has this name already; give it another one.")
    elif name in others - {was}:
        read.refuse("name", f"Something else here is named “{name}”; give it a name of its own.")
    return name


def _renamed(into: Mapping[str, str], was: str, name: str) -> dict[str, str]:
    def now(one: str) -> str:
        return name if was and one == was else one

    return {now(one): now(target) for one, target in into.items()}


def _length(typed: str, unit: Unit) -> int:
    if _NOTHING.fullmatch(typed):
        return 0
    return parse_length(f"{typed} {'m' if unit is Unit.METERS else 'ft'}" if _BARE.fullmatch(typed) else typed)


def _shown(mm: int, unit: Unit) -> str:
    return format_length(mm, unit) if mm else "0"


def _number(typed: str, field: str, least: float) -> float:
    if not _BARE.fullmatch(typed):
        raise invalid(field, f"“{typed[:20]}” is no number; write it like 1.2.")
    number = float(typed.replace(",", "."))
    if not least <= number <= 10_000:
        raise invalid(field, f"Give a number from {least:g} on, not {number:g}.")
    return number


def _priced(text: str, field: str, unit: Unit) -> tuple[list[int], dict[str, int]]:
    """The lengths that there are and what they cost, from a line each: `10 ft: 11.00`, or without a price."""
    lengths, prices = set[int](), dict[str, int]()
    for line in filter(None, map(one_line, text.splitlines())):
        length, _, price = line.partition(":")
        mm = _length(length.strip(), unit)
        if mm < 1 or mm in lengths:
            raise invalid(field, f"“{line[:40]}”: name each length once, like 10 ft: 11.00.")
        lengths.add(mm)
        if price.strip():
            prices[str(mm)] = parse_money(price.strip(), field)
    if not lengths:
        raise invalid(field, "Name one length at least, like 10 ft: 11.00.")
    return sorted(lengths), prices


def _listed(stock: list[int], prices: Mapping[str, int], unit: Unit) -> str:
    return "\n".join(
        format_length(mm, unit) + (f": {format_money(prices[str(mm)])}" if str(mm) in prices else "") for mm in stock
    )
