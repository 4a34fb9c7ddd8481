"""Wirings, readings and lamp patterns as people type them: a line each, in the trade's words.

A conductor is its name, its contact at end A, its contact at end B and its role, then its pair and its lane:

    1 A1 B1 shield
    2 A2 B2 hot pair 1
    24 A24 B1.2 hot pair 1 lane 1

A lamp pattern is what the lamps show, an equals sign, and the contacts that were then found joined:

    1 2 - = A1-B1 A2-B2
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict
from typing import Any, Final

from service.kit.problems import Invalid, invalid
from service.kit.text import plain
from service.wiring.faults import rebuild
from service.wiring.naming import listed
from service.wiring.own import parse_wiring
from service.wiring.wirings import ALL, ENDS, ROLES, Conductor, Wiring, canonical, connector_of, is_shell, read

GOOD: Final = "good"
"""The reading of a sound cable, in a lamp pattern."""
NOTHING: Final = "nothing"
"""The reading in which no two contacts are joined."""
MOST_LINES: Final = 200

_CONTACT: Final = re.compile(r"[AB](\d{1,2}\.)?[A-Za-z0-9]{1,8}")
_LONGEST_WORD: Final = 12
_LIKE: Final = "1 A1 B1 shield"


def wiring_in_text(name: str, conductors: str, others: str = "", bonds: str = "") -> dict[str, Any]:
    """A wiring's description, as `own.parse_wiring` takes it, from its conductors, other contacts and bonds as typed.

    Raises `Invalid` for `conductors`, `others` or `bonds`, with the line that is at fault.
    """
    wires = [_conductor(number, line) for number, line in _lines(conductors, "conductors")]
    named = [contact for wire in wires for contact in (wire.a, wire.b)] + _contacts(others, "others")
    spec: dict[str, Any] = {
        "ends": {end: _listed_order(contact for contact in named if contact[0] == end) for end in ENDS},
        "conductors": [asdict(wire) for wire in wires],
        "bonds": [],
    }
    _checked(spec, name, "conductors")
    spec["bonds"] = [list(bond) for bond in _bonds(bonds)]
    _checked(spec, name, "bonds")
    return spec


def reach_in_text(wiring: Wiring, text: str) -> Any:
    """What a tester reaches: "all", a list of contacts, or where nothing is typed every contact but the shells.

    Raises `Invalid` for `reaches`.
    """
    typed = plain(text)
    if typed.lower() == ALL:
        return ALL
    reached = _contacts(typed, "reaches") or [one for one in wiring.all_contacts if not is_shell(one)]
    try:
        return canonical(wiring, read(wiring, [], reached))["probed"]
    except Invalid as refusal:
        raise invalid("reaches", refusal.detail) from refusal


def patterns_in_text(wiring: Wiring, text: str, probed: Any) -> dict[str, list[list[list[str]]]]:
    """Lamp patterns and, for each, every reading that it may mean, as lists of joined contacts.

    A pattern on several lines means any of their readings. Raises `Invalid` for `patterns`, with the line.
    """
    meanings: dict[str, list[list[list[str]]]] = {}
    for number, line in _lines(text, "patterns"):
        pattern, equals, reading = (part.strip() for part in line.rpartition("="))
        if not equals or not pattern or not reading:
            raise invalid(
                "patterns",
                f"Line {number}, “{line[:60]}”, needs what the lamps show, =, and what is joined: 1 2 - = A1-B1 A2-B2.",
            )
        joined = _reading(wiring, number, reading, probed)
        readings = meanings.setdefault(pattern, [])
        if joined in readings:
            raise invalid("patterns", f"Line {number} says again what “{pattern}” means; leave it out.")
        readings.append(joined)
    return meanings


def in_text(wiring: Wiring) -> list[str]:
    """The conductors of a wiring as `wiring_in_text` reads them."""
    return [
        f"{wire.name} {wire.a} {wire.b} {wire.role}"
        f"{f' pair {wire.pair}' if wire.pair else ''}{f' lane {wire.lane}' if wire.lane else ''}"
        for wire in wiring.conductors
    ]


def _conductor(number: int, line: str) -> Conductor:
    name, *words = line.split()
    if len(words) < 3 or len(words) % 2 == 0:
        raise invalid(
            "conductors",
            f"Line {number}, “{line[:60]}”, needs a name, a contact at end A, one at end B and a role: {_LIKE}; then "
            "pair and lane, each with its number.",
        )
    for word in (name, *words):
        if len(word) > _LONGEST_WORD or not word.isprintable():
            raise invalid(
                "conductors",
                f"Line {number}: “{word[:20]}” is no plain word of up to {_LONGEST_WORD} characters.",
            )
    a, b, role, *rest = words
    for contact, end in ((a, "A"), (b, "B")):
        if not _CONTACT.fullmatch(contact) or contact[0] != end:
            raise invalid(
                "conductors",
                f"Line {number}: “{contact[:20]}” is no contact of end {end}; write {end}1, {end}3.2 or {end}s.",
            )
    if role.lower() not in ROLES:
        raise invalid("conductors", f"Line {number}: “{role[:20]}” is no role; a conductor is {_either(ROLES)}.")
    groups = _groups(number, rest)
    return Conductor(name, a, b, role.lower(), groups["pair"], groups["lane"])


def _groups(number: int, words: Sequence[str]) -> Mapping[str, str | None]:
    groups: dict[str, str | None] = {"pair": None, "lane": None}
    for word, value in zip(words[::2], words[1::2], strict=True):
        if word.lower() not in groups or groups[word.lower()] is not None:
            raise invalid(
                "conductors",
                f"Line {number}: after the role come pair and lane, each once and with its number; not “{word[:20]}”.",
            )
        groups[word.lower()] = value
    return groups


def _lines(text: str, field: str) -> Iterator[tuple[int, str]]:
    """The lines that hold something, with their numbers."""
    lines = text.splitlines()
    if len(lines) > MOST_LINES:
        raise invalid(field, f"There are {len(lines)} lines; {MOST_LINES} are the most.")
    for number, line in enumerate(lines, 1):
        if typed := plain(line):
            yield number, typed


def _contacts(text: str, field: str) -> list[str]:
    contacts = plain(text).replace(",", " ").split()
    for contact in contacts:
        if not _CONTACT.fullmatch(contact):
            raise invalid(field, f"“{contact[:20]}” is no contact; write A or B and its name, like As or B13.")
    return contacts


def _bonds(text: str) -> Iterator[tuple[str, str]]:
    for bond in plain(text).replace(",", " ").split():
        one, dash, other = bond.partition("-")
        if not dash or not _CONTACT.fullmatch(one) or not _CONTACT.fullmatch(other):
            raise invalid("bonds", f"“{bond[:30]}” is no bond; write the two contacts like A1-As.")
        yield one, other


def _reading(wiring: Wiring, number: int, text: str, probed: Any) -> list[list[str]]:
    if text.lower() == GOOD:
        good = rebuild(wiring, ()).within(read(wiring, [], probed).probed)
        joined: list[list[str]] = canonical(wiring, good)["joined"]
        return joined
    groups = [] if text.lower() == NOTHING else [group.split("-") for group in text.replace(",", " ").split()]
    if any(len(group) < 2 for group in groups):
        raise invalid(
            "patterns",
            f"Line {number}: “{text[:60]}” is no reading; write what is joined like A1-B1 A2-B2, or {GOOD}, or "
            f"{NOTHING}.",
        )
    try:
        read_so: list[list[str]] = canonical(wiring, read(wiring, groups, probed))["joined"]
    except Invalid as refusal:
        raise invalid("patterns", f"Line {number}: {refusal.detail}") from refusal
    return read_so


def _listed_order(contacts: Iterable[str]) -> list[str]:
    """Contacts without their end, each once: numbers in their order, what is no number after, as it came."""
    names = list(dict.fromkeys(contacts))
    names.sort(key=lambda contact: (connector_of(contact) or 0, _number(contact)))
    return [contact[1:] for contact in names]


def _number(contact: str) -> int:
    name = contact[1:].rpartition(".")[2]
    return int(name) if name.isdecimal() else 10**9


def _checked(spec: dict[str, Any], name: str, field: str) -> None:
    try:
        parse_wiring(spec, name)
    except Invalid as refusal:
        raise invalid(field, refusal.detail) from refusal


def _either(words: Sequence[str]) -> str:
    return listed(words).replace(" and ", " or ")
