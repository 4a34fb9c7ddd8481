"""Reading a layout in a line of JSON: stations, mixer, box, hubs, lengths, prices, crew. A refusal names the field."""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any

from service.kit.jsonfields import list_of, number_of, object_of, positive_of, text_of
from service.kit.problems import Problem
from service.rig.core.best import RigLimits
from service.rig.core.floor import ChainEnd, Floor, Point, PriceList, SetupCrew, Station


def way_of(line: Mapping[str, Any], ways: Sequence[str]) -> str:
    """The way of wiring that is asked for, one of `ways`."""
    way = text_of(line, "way", "The line")
    if way not in ways:
        raise Problem(f'"way" is "{way}"; it is one of {", ".join(ways)}.')
    return way


def floor_of(line: Mapping[str, Any]) -> Floor:
    """Stations, mixer, lengths and rules."""
    rules = object_of(line, "rules")
    half, across = (_length(rules.get(name), f'"{name}" of "rules"') for name in ("half", "across"))
    slack = number_of(rules.get("slack"), '"slack" of "rules"')
    if slack < 1:
        raise Problem(f'"slack" of "rules" is {slack:g}; give 1 or more.')
    stations: dict[str, Station] = {}
    for number, fields in enumerate(list_of(line, "stations"), 1):
        name = text_of(fields, "name", f'Station {number} of "stations"')
        if name in stations:
            raise Problem(f'Two stations are named "{name}"; give each a name of its own.')
        whose = f'of station "{name}"'
        stations[name] = Station(
            name,
            _point(fields, whose),
            _count(fields.get("mics"), f'"mics" {whose}'),
            _length(fields["half"], f'"half" {whose}') if "half" in fields else half,
            _length(fields["across"], f'"across" {whose}') if "across" in fields else across,
        )
    return Floor(
        stations,
        _point(object_of(line, "mixer"), 'of "mixer"'),
        Fraction(repr(slack)),  # the decimal that is written, not the binary number next to it
        _count(rules.get("gap"), '"gap" of "rules"'),
        _stock(line, "stock"),
        _stock(line, "trunk_stock"),
    )


def box_of(line: Mapping[str, Any]) -> ChainEnd:
    """The box, which takes any number of lines."""
    return ChainEnd(_point(object_of(line, "box"), 'of "box"'), None)


def hubs_of(line: Mapping[str, Any], floor: Floor) -> dict[str, ChainEnd]:
    """The hubs by name, one at least."""
    hubs: dict[str, ChainEnd] = {}
    for name, fields in object_of(line, "hubs").items():
        if name in floor.stations:
            raise Problem(f'A station and a hub are named "{name}"; give each a name of its own.')
        if not isinstance(fields, dict):
            raise Problem(f'Hub "{name}" must be an object with names and values.')
        lines = _length(fields.get("lines"), f'"lines" of hub "{name}"')
        hubs[name] = ChainEnd(_point(fields, f'of hub "{name}"'), lines)
    if not hubs:
        raise Problem('"hubs" is empty; give one hub at least.')
    return hubs


def into_of(line: Mapping[str, Any], floor: Floor, ends: Mapping[str, ChainEnd]) -> dict[str, str]:
    """What each station leads into: another one, or one of `ends`."""
    into = object_of(line, "into")
    for name, target in into.items():
        if name not in floor.stations:
            raise Problem(f'"into" has "{name}", which is no station; name it in "stations".')
        if not isinstance(target, str) or (target not in ends and target not in floor.stations):
            raise Problem(f'"into" leads "{name}" into {target!r}, which is neither a station nor {_listed(ends)}.')
    return into


def prices_of(line: Mapping[str, Any]) -> PriceList:
    """What has a price."""
    prices = object_of(line, "prices") if "prices" in line else {}
    hub, box = (_count(prices[name], f'The price of "{name}"') if name in prices else None for name in ("hub", "box"))
    return PriceList(_by_length(prices, "cables"), _by_length(prices, "trunks"), hub, box)


def all_prices_of(line: Mapping[str, Any], floor: Floor) -> PriceList:
    """The same, with a price for a hub and for every length, without which nothing is the cheapest."""
    prices = prices_of(line)
    lacking = [
        *([] if prices.hub is not None else ["hub"]),
        *(f"cables {length}" for length in floor.stock if length not in prices.cables),
        *(f"trunks {length}" for length in floor.trunk_stock if length not in prices.trunks),
    ]
    if lacking:
        raise Problem(f'"prices" lacks {lacking[0]}; the cheapest rig needs the price of every piece.')
    return prices


def limits_of(line: Mapping[str, Any]) -> RigLimits:
    """What the cheapest rig must keep within; a limit that is missing is none."""
    limits = object_of(line, "limits") if "limits" in line else {}
    for name in limits:
        if name not in ("walkers", "plug_ins", "reach"):
            raise Problem(f'"limits" has "{name}", which is none of walkers, plug_ins, reach.')
    return RigLimits(**{name: _count(value, f'"{name}" of "limits"') for name, value in limits.items()})


def crew_of(line: Mapping[str, Any]) -> SetupCrew:
    """How fast the performers are."""
    crew = object_of(line, "crew")
    walk_mm_s, plug_s = (positive_of(crew.get(name), f'"{name}" of "crew"') for name in ("walk_mm_s", "plug_s"))
    hands = _length(crew.get("hands"), '"hands" of "crew"')
    ready_s = number_of(crew.get("ready_s"), '"ready_s" of "crew"')
    open_s = number_of(crew.get("open_s", 0), '"open_s" of "crew"')
    for name, moment in (("ready_s", ready_s), ("open_s", open_s)):
        if moment < 0:
            raise Problem(f'"{name}" of "crew" is {moment:g}; give 0 or more.')
    return SetupCrew(walk_mm_s, plug_s, hands, ready_s, open_s)


def _by_length(prices: Mapping[str, Any], name: str) -> dict[int, int]:
    of_length = object_of(prices, name) if name in prices else {}
    for length in of_length:
        if not length.isascii() or not length.isdigit():
            raise Problem(f'"{name}" of "prices" has "{length}"; give a length in whole millimeters.')
    return {int(length): _count(price, f'The price of {name} "{length}"') for length, price in of_length.items()}


def _stock(line: Mapping[str, Any], name: str) -> list[int]:
    lengths = [_length(length, f'A length in "{name}"') for length in list_of(line, name)]
    if not lengths:
        raise Problem(f'"{name}" is empty; give one length at least.')
    return sorted(lengths)


def _point(fields: Mapping[str, Any], whose: str) -> Point:
    return Point(*(_whole(fields.get(name), f'"{name}" {whose}') for name in ("x", "y")))


def _whole(value: Any, what: str) -> int:
    number = number_of(value, what)
    if number != int(number):
        raise Problem(f"{what} is {number:g}; give a whole number.")
    return int(value)


def _count(value: Any, what: str) -> int:
    number = _whole(value, what)
    if number < 0:
        raise Problem(f"{what} is {number}; give 0 or more.")
    return number


def _length(value: Any, what: str) -> int:
    number = _whole(value, what)
    if number <= 0:
        raise Problem(f"{what} is {number}; give a whole number above 0.")
    return number


def _listed(ends: Mapping[str, ChainEnd]) -> str:
    return "one of " + ", ".join(f'"{name}"' for name in ends)
