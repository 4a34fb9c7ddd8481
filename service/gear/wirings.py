"""The wirings of items, built-in or the program's own, and the connectors that items have by their wiring."""

import json
from collections import Counter
from collections.abc import Sequence
from functools import lru_cache
from typing import Any

from sqlalchemy.orm import Session

from service.gear import queries
from service.gear.core import KINDS, End, Gender
from service.gear.models import Port
from service.gear.queries import ItemFacts
from service.kit.problems import invalid
from service.wiring.builtin import BUILTIN
from service.wiring.own import parse_wiring
from service.wiring.wirings import Wiring, connector_of

WIRING_NAMES = {
    "xlr3": "Three-contact audio (XLR)",
    "xlr3-bonded": "Three-contact audio (XLR), shells bonded",
    "xlr3-lifted": "Three-contact audio (XLR), shield lifted",
    "trs": "Quarter-inch balanced (TRS)",
    "xlr3-to-trs": "Three-contact audio (XLR) to quarter-inch (TRS)",
    "d25x8": "25-way D, eight lanes (AES59)",
    "d25x8-screened": "25-way D, eight lanes (AES59), screened",
    "d25-to-xlr8": "25-way D to eight three-contact (XLR)",
    "8p8c": "Category cable (8P8C), four pairs",
    "8p8c-screened": "Category cable (8P8C), four pairs, screened",
    "8p8c-to-xlr4": "Category cable (8P8C) to four three-contact (XLR)",
    "xlr3x8": "Eight three-contact lines (XLR)",
    "xlr3x4": "Four three-contact lines (XLR)",
}
"""The names of the built-in wirings on pages, by their keys."""

# Connector type at end A and at end B of each built-in wiring.
_TYPES = {
    "trs": ("trs", "trs"),
    "xlr3-to-trs": ("xlr3", "trs"),
    "d25x8": ("d25", "d25"),
    "d25x8-screened": ("d25", "d25"),
    "d25-to-xlr8": ("d25", "xlr3"),
    "8p8c": ("8p8c", "8p8c"),
    "8p8c-screened": ("8p8c", "8p8c"),
    "8p8c-to-xlr4": ("8p8c", "xlr3"),
}


def find_wiring(db: Session, key: str) -> Wiring:
    """The wiring of this key.

    Raises:
        Invalid: for `wiring`, if it is neither built-in nor one of the program's own.
    """
    if key in BUILTIN:
        return BUILTIN[key]
    own = queries.own_wiring(db, key)
    if own is None:
        raise invalid("wiring", f"“{key}” is no wiring here. Choose one of {', '.join(BUILTIN)}, or one of your own.")
    return _parsed(key, own.spec)


def wiring_name(db: Session, key: str) -> str:
    """The name of a wiring on pages."""
    own = queries.own_wiring(db, key) if key not in WIRING_NAMES else None
    return own.name if own else WIRING_NAMES.get(key, key)


def _parsed(key: str, spec: dict[str, Any]) -> Wiring:
    return _parsed_text(key, json.dumps(spec))


@lru_cache(maxsize=256)
def _parsed_text(key: str, spec: str) -> Wiring:
    # A wiring never changes, so each is parsed and checked once; diagnosis caches its plan by the object.
    return parse_wiring(json.loads(spec), key)


def ports_of(key: str, wiring: Wiring, kind: str) -> list[dict[str, Any]]:
    """The connectors of an item with this wiring, as rows of the port table without the item.

    On an audio line end A is the socket and end B the plug. A hub's line connectors receive plugs, so they are sockets.
    A connector without a line direction, multicore or quarter-inch, is a plug on a cable and a socket on a hub.
    """
    types = dict(zip(End, _TYPES.get(key, ("xlr3", "xlr3") if key in BUILTIN else ("own", "own")), strict=True))
    return [
        {
            "end": end,
            "connector": number,
            "lane": lane,
            "type": types[end],
            "gender": _gender(kind, types[end], end),
        }
        for end in End
        for number, lane in _connectors(wiring, end)
    ]


def _gender(kind: str, connector: str, end: End) -> Gender:
    if KINDS[kind].is_box or (connector == "xlr3" and end is End.A):
        return Gender.SOCKET
    return Gender.PLUG


@lru_cache(maxsize=256)
def _connectors(wiring: Wiring, end: End) -> tuple[tuple[int, str | None], ...]:
    """The number of each connector at an end, 1 if there is only one, and its lane if it carries only one."""
    lanes: dict[int, set[str]] = {}
    for contact in wiring.contacts(end):
        lanes.setdefault(connector_of(contact) or 1, set())
    for conductor in wiring.conductors:
        contact = conductor.a if end is End.A else conductor.b
        if conductor.lane is not None:
            lanes[connector_of(contact) or 1].add(conductor.lane)
    return tuple(
        (number, next(iter(carried)) if len(carried) == 1 else None) for number, carried in sorted(lanes.items())
    )


CONNECTOR_NAMES = {
    "xlr3": "XLR",
    "trs": "quarter-inch (TRS)",
    "d25": "25-way D",
    "8p8c": "8P8C",
    "own": "own connector",
}
"""The names of connector types on pages, by their keys."""


def connectors_in_words(ports: Sequence[Port], end: End) -> str:
    """The connectors of an end in words: "XLR socket", "8 × XLR plug"."""
    counted = Counter((port.type, port.gender) for port in ports if port.end == end)
    return ", ".join(
        f"{f'{count} × ' if count > 1 else ''}{CONNECTOR_NAMES.get(kind, kind)} {gender}"
        for (kind, gender), count in counted.items()
    )


def wiring_choices(db: Session) -> list[tuple[str, str]]:
    """Every wiring that an item may get, with its name: the built-in ones, then the program's own."""
    return [*WIRING_NAMES.items(), *((own.key, own.name) for own in queries.own_wirings(db))]


_SHORT_NAMES = {"xlr3": "XLR", "trs": "TRS", "d25": "25-way D", "8p8c": "8P8C", "own": "own"}


def connectors(db: Session, item: ItemFacts) -> tuple[str, str]:
    """The connectors at end A and at end B: ("25-way D plug", "8 XLR sockets")."""
    return _end_connectors(item.wiring, find_wiring(db, item.wiring), item.kind)


@lru_cache(maxsize=256)
def _end_connectors(key: str, wiring: Wiring, kind: str) -> tuple[str, str]:
    ports = ports_of(key, wiring, kind)
    shown = []
    for end in End:
        here = [port for port in ports if port["end"] == end]
        connector = f"{_SHORT_NAMES[here[0]['type']]} {here[0]['gender']}"
        shown.append(connector if len(here) == 1 else f"{len(here)} {connector}s")
    return shown[0], shown[1]
