"""Which column of somebody's sheet is what: guessed from its name, for a person to set right. Pure.

>>> guess(GEAR, ("Cable length (ft)", "Where", "Bought", "Colour"))
('length', 'place', 'bought_on', '')
>>> unit_in("Cable length (ft)")
<Unit.FEET: 'feet'>
"""

import re
from collections.abc import Sequence

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


def bare(name: str) -> str:
    """A column's name without brackets, apostrophes, signs and capitals."""
    kept = _IN_BRACKETS.sub(" ", plain(name).lower()).replace("#", " no ").replace("'", "")
    return " ".join(re.sub(r"[^\w]+", " ", kept).split())


def guess(fields: Sequence[Field], header: Sequence[str]) -> tuple[str, ...]:
    """The field's key for each column, empty where the name tells nothing; each field at most once.

    A column's whole name goes before a part of it, and among parts the longer one, those of the item's own name last.
    """
    names = [bare(name) for name in header]
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
    """How well a name fits a field, the least the best: the whole name, by its turn in the list, then parts."""
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
    """Whether a sheet is of tests rather than of gear: it says how each came out, and when."""
    as_tests, as_gear = guess(TESTS, header), guess(GEAR, header)
    says = {"code", "tested_at", "verdict"} <= set(as_tests)
    return says and not {"length", "count", "price"} & set(as_gear)


def unit_in(name: str) -> Unit | None:
    """The unit that a column's name says, as in “Length (ft)” or “Meters”; None where it says none, or several."""
    units = {_UNITS[word] for word in _words(name) if word in _UNITS}
    return units.pop() if len(units) == 1 else None


def measure_in(name: str) -> str:
    """A smaller measure that a column's name says, as `parse_length` reads it; empty where it says none.

    >>> measure_in("Length (inches)"), measure_in("Length in feet"), measure_in("cm")
    ('in', '', 'cm')
    """
    if unit_in(name):
        return ""
    measures = {_MEASURES[word] for word in _words(name) if word in _MEASURES}
    return measures.pop() if len(measures) == 1 else ""


def _words(name: str) -> list[str]:
    inside = [part.strip(" .") for part in _IN_BRACKETS.findall(plain(name).lower())]
    return [*bare(name).split(), *(word for part in inside for word in re.split(r"[\s/,]+|\bor\b", part))]


def check(fields: Sequence[Field], chosen: Sequence[str], needed: Sequence[str]) -> tuple[str, ...]:
    """The fields chosen for the columns, if they can be.

    Raises:
        Invalid: a field is chosen twice, or one that is needed is missing.
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
