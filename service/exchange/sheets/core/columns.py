"""Which field each column of a sheet is: guessed from its name, for a person to correct. Pure.

>>> guess(GEAR, ("Cable length (ft)", "Where", "Bought", "Colour"))
('length', 'place', 'bought_on', '')
>>> unit_in("Cable length (ft)")
<Unit.FEET: 'feet'>
"""

import re
from collections.abc import Sequence
from functools import lru_cache

from service.exchange.sheets.core.fields import GEAR, TESTS, Field
from service.kit.problems import Invalid
from service.kit.quantities import Unit
from service.kit.text import plain

_IN_BRACKETS = re.compile(r"[(\[]([^)\]]*)[)\]]")
_UNITS = {
    **dict.fromkeys(("ft", "feet", "foot", "'"), Unit.FEET),
    **dict.fromkeys(("m", "meter", "meters", "metre", "metres"), Unit.METERS),
}

_MEASURES = {
    **dict.fromkeys(("in", "inch", "inches", '"'), "in"),
    **dict.fromkeys(("cm", "centimeters", "centimetres"), "cm"),
    **dict.fromkeys(("mm", "millimeters", "millimetres"), "mm"),
}


@lru_cache(4096)  # the same cells are asked for as headers, as values, and once for each row above them
def plain_name(name: str) -> str:
    """A column's name in lower case, without brackets, apostrophes and other signs."""
    kept = _IN_BRACKETS.sub(" ", plain(name).lower()).replace("#", " no ").replace("'", "")
    return " ".join(re.sub(r"[^\w]+", " ", kept).split())


def guess(fields: Sequence[Field], header: Sequence[str]) -> tuple[str, ...]:
    """The key of the field for each column, empty if the name matches none; each field at most once.

    A match of a column's whole name has priority over a match of a part, and among parts the longer one; parts that
    stand for the item's name come last.
    """
    names = [plain_name(name) for name in header]
    ranked = sorted(
        (
            (rank, at, field.key)
            for at, name in enumerate(names)
            for field in fields
            if (rank := _rank(field, name)) is not None
        ),
    )
    key_at: dict[int, str] = {}
    for _, at, key in ranked:
        if at not in key_at and key not in key_at.values():
            key_at[at] = key
    return tuple(key_at.get(at, "") for at in range(len(names)))


def _rank(field: Field, name: str) -> tuple[int, int] | None:
    """How well a name fits a field, the lowest being the best: the whole name by its position in the list, then
    parts.
    """
    if not name:
        return None
    spoken, plain_name = [one.replace("_", " ") for one in field.names], name.replace("_", " ")
    if plain_name in spoken:
        return 0, spoken.index(plain_name)
    if not set(field.never).isdisjoint(plain_name.split()):
        return None
    parts = [one for one in spoken if len(one) > 2 and f" {one} " in f" {plain_name} "]
    return (2 if field.weak else 1, -max(map(len, parts))) if parts else None


def is_tests(header: Sequence[str]) -> bool:
    """Whether a sheet is of tests rather than of gear: it has a column for the result and one for the day."""
    as_tests, as_gear = guess(TESTS, header), guess(GEAR, header)
    says = {"code", "tested_at", "verdict"} <= set(as_tests)
    return says and not {"length", "count", "price"} & set(as_gear)


def unit_in(name: str) -> Unit | None:
    """The unit in a column's name, as in “Length (ft)” or “Meters”; None if there is none, or several."""
    units = {_UNITS[word] for word in _words(name) if word in _UNITS}
    return units.pop() if len(units) == 1 else None


def measure_in(name: str) -> str:
    """A smaller measure in a column's name, as `parse_length` reads it; empty if there is none.

    >>> measure_in("Length (inches)"), measure_in("Length in feet"), measure_in("cm")
    ('in', '', 'cm')
    """
    if unit_in(name):
        return ""
    measures = {_MEASURES[word] for word in _words(name) if word in _MEASURES}
    return measures.pop() if len(measures) == 1 else ""


def _words(name: str) -> list[str]:
    inside = [part.strip(" .") for part in _IN_BRACKETS.findall(plain(name).lower())]
    return [*plain_name(name).split(), *(word for part in inside for word in re.split(r"[\s/,]+|\bor\b", part))]


def check(fields: Sequence[Field], chosen: Sequence[str], needed: Sequence[str]) -> tuple[str, ...]:
    """Check the fields chosen for the columns.

    Raises:
        Invalid: a field is chosen twice, or a required one is missing.
    """
    words = {field.key: field.words for field in fields}
    errors = {}
    for at, key in enumerate(chosen):
        if key and key not in words:
            errors[f"column{at}"] = "This is none of the choices. Choose again."
        elif key and key in chosen[:at]:
            errors[f"column{at}"] = f"“{words[key]}” is chosen for two columns. Choose another, or leave one out."
    for key in needed:
        if key not in chosen:
            errors[key] = f"No column is “{words[key]}”. Choose the one that is."
    if errors:
        raise Invalid(" ".join(errors.values()), errors)
    return tuple(chosen)
