"""Reading a wiring that a program made itself: checked whole, and refused naming the culprit."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, NoReturn

from service.kit.problems import Invalid
from service.wiring.wirings import ENDS, ROLES, SHELL, Bond, Conductor, Wiring, wiring

LARGEST: Final = 160
"""The most contacts that a wiring may have at both ends together, and the most conductors."""

_FIELDS: Final = {"name", "a", "b", "role", "pair", "lane"}


def parse_wiring(described: object, key: str = "this wiring") -> Wiring:
    """The wiring that is `described` in parsed JSON; `key` is its name in refusals.

    Raises `Invalid` where something is missing, or where the wiring contradicts itself.
    """
    return _Reader(key).wiring(described)


class _Reader:
    def __init__(self, key: str) -> None:
        self._key = key

    def _refuse(self, sentence: str) -> NoReturn:
        raise Invalid(f"In {self._key}, {sentence}.", {"wiring": f"In {self._key}, {sentence}."})

    def wiring(self, described: object) -> Wiring:
        """The whole wiring, checked."""
        if not isinstance(described, Mapping):
            self._refuse('the wiring must be an object with "ends", "conductors" and "bonds"')
        ends = described.get("ends")
        if not isinstance(ends, Mapping) or set(ends) != set(ENDS):
            self._refuse('"ends" must list the contacts of end "A" and of end "B", and of no other')
        listed = {end: self._contacts(end, ends[end]) for end in ENDS}
        known = [end + name for end in ENDS for name in listed[end]]
        if len(known) > LARGEST:
            self._refuse(f"there are {len(known)} contacts; {LARGEST} is the most that can be diagnosed")
        conductors = [self._conductor(item, known) for item in self._list(described, "conductors")]
        if len(conductors) > LARGEST:
            self._refuse(f"there are {len(conductors)} conductors; {LARGEST} is the most that can be diagnosed")
        if not conductors:
            self._refuse("there is no conductor; list at least one")
        bonds = [self._bond(item, known) for item in self._list(described, "bonds", optional=True)]
        made = wiring(listed["A"], listed["B"], conductors, bonds)
        self._names(made)
        self._pairs(made)
        self._bonds(made.bonds)
        return made

    def _list(self, described: Mapping[str, Any], name: str, optional: bool = False) -> Sequence[object]:
        values = described.get(name)
        if values is None and optional:
            return []
        if not isinstance(values, list):
            self._refuse(f'"{name}" must be a list')
        return values

    def _contacts(self, end: str, names: object) -> list[str]:
        if not isinstance(names, list):
            self._refuse(f'the contacts of end {end} must be a list such as ["1", "2", "{SHELL}"]')
        for name in names:
            if not isinstance(name, str) or not name or name != name.strip():
                self._refuse(f"end {end} has a contact {name!r} that is not a plain name")
        self._once(names, f"end {end} lists contact")
        return names

    def _once(self, names: Iterable[str], what: str) -> None:
        for name, count in Counter(names).items():
            if count > 1:
                self._refuse(f"{what} {name!r} {count} times; once is enough")

    def _conductor(self, item: object, known: Sequence[str]) -> Conductor:
        if not isinstance(item, Mapping):
            self._refuse(f"conductor {item!r} must be an object with {', '.join(sorted(_FIELDS))}")
        name = item.get("name")
        if not isinstance(name, str) or not name:
            self._refuse(f"conductor {name!r} needs a name that is a text")
        for end, contact in (("A", item.get("a")), ("B", item.get("b"))):
            if not isinstance(contact, str) or contact not in known:
                self._refuse(f"conductor {name!r} goes to contact {contact!r}, which is not listed")
            if not contact.startswith(end):
                self._refuse(f"conductor {name!r} has {contact!r} where a contact of end {end} belongs")
        role = item.get("role")
        if role not in ROLES:
            self._refuse(f"conductor {name!r} has the role {role!r}; it must be one of {', '.join(ROLES)}")
        group = {field: item.get(field) for field in ("pair", "lane")}
        for field, value in group.items():
            if value is not None and not isinstance(value, str):
                self._refuse(f"conductor {name!r} has the {field} {value!r}; it must be a text or null")
        return Conductor(name, item["a"], item["b"], role, group["pair"], group["lane"])

    def _bond(self, item: object, known: Sequence[str]) -> tuple[str, str]:
        if not isinstance(item, list) or len(item) != 2:
            self._refuse(f'bond {item!r} must name two contacts, as in ["A1", "A{SHELL}"]')
        first, second = item
        for contact in item:
            if contact not in known:
                self._refuse(f"bond {item!r} names contact {contact!r}, which is not listed")
        if first == second:
            self._refuse(f"bond {item!r} joins contact {first!r} to itself")
        if first[0] != second[0]:
            self._refuse(f"bond {item!r} joins the two ends; only a conductor can do that")
        return first, second

    def _names(self, made: Wiring) -> None:
        names = [conductor.name for conductor in made.conductors]
        self._once(names, "there is the conductor")
        taken = set(made.loose_contacts) | {bond.later for bond in made.bonds}
        for name in names:
            if name in taken:
                self._refuse(f"conductor {name!r} has the name of a contact; give it another")

    def _pairs(self, made: Wiring) -> None:
        for pair, conductors in made.pairs.items():
            names = ", ".join(repr(conductor.name) for conductor in conductors)
            if len(conductors) != 2:
                self._refuse(f"pair {pair!r} holds {names}; a pair holds two conductors")
            if conductors[0].role == conductors[1].role:
                self._refuse(f"pair {pair!r} holds {names}, both {conductors[0].role}; one is hot and one cold")

    def _bonds(self, bonds: Sequence[Bond]) -> None:
        self._once((bond.later for bond in bonds), "bonds name as their later contact")
