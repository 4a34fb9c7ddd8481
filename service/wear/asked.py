"""Reading the fields of a line of JSON: numbers, lists, objects, lives. A refusal names the field."""

from collections.abc import Mapping
from math import inf
from typing import Any, Final

from service.kit.problems import Problem
from service.wear.core.lives import Life

_BEYOND: Final = 1e100
"""Far above any count of days; powers of larger numbers would overflow."""


def life_of(life: Any) -> Life:
    """A life from `[lower, upper]` or `[lower, upper, count]`."""
    if not isinstance(life, list) or len(life) not in (2, 3):
        raise Problem('Each of "lives" must be [lower, upper] or [lower, upper, count].')
    lower = number_of(life[0], "The lower bound of a life")
    upper = None if life[1] is None else number_of(life[1], "The upper bound of a life")
    count = number_of(life[2], "The count of a life") if len(life) == 3 else 1
    if count != int(count):
        raise Problem(f"The count of a life is {count:g}; give a whole number.")
    return Life(lower, upper, int(life[2]) if len(life) == 3 else 1)


def list_of(fields: Mapping[str, Any], name: str, whose: str = "The line") -> list[Any]:
    """The list of that name. `whose` is the subject of the sentence of a refusal."""
    values = fields.get(name)
    if not isinstance(values, list):
        raise Problem(f'{whose} lacks "{name}", a list.')
    return values


def object_of(fields: Mapping[str, Any], name: str) -> dict[str, Any]:
    """The object of that name."""
    value = fields.get(name)
    if not isinstance(value, dict):
        raise Problem(f'"{name}" must be an object with names and values.')
    return value


def number_of(value: Any, what: str) -> float:
    """A number that can be a count of days. `what` is the subject of the sentence of a refusal."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < inf:
        raise Problem(f"{what} must be a number, and it is {repr(value)[:40]}.")
    if abs(value) >= _BEYOND:
        raise Problem(f"{what} is {repr(value)[:40]}; give a number below {_BEYOND:g}.")
    return float(value)
