"""Reading the fields of a line of JSON: numbers, texts, lists, objects. A refusal names the field."""

from collections.abc import Mapping
from math import inf
from typing import Any, Final

from service.kit.problems import Problem

_BEYOND: Final = 1e100
"""Far above any count, length or time; powers of larger numbers would overflow."""


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


def text_of(fields: Any, name: str, whose: str) -> str:
    """The text of that name of an object. `whose` is the subject of the sentence of a refusal."""
    if not isinstance(fields, dict):
        raise Problem(f"{whose} must be an object with names and values.")
    text = fields.get(name)
    if not isinstance(text, str):
        raise Problem(f'{whose} lacks "{name}", a text.')
    return text


def number_of(value: Any, what: str) -> float:
    """A number that can be a count, a length or a time. `what` is the subject of the sentence of a refusal."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < inf:
        raise Problem(f"{what} must be a number, and it is {repr(value)[:40]}.")
    if abs(value) >= _BEYOND:
        raise Problem(f"{what} is {repr(value)[:40]}; give a number below {_BEYOND:g}.")
    return float(value)


def positive_of(value: Any, what: str) -> float:
    """A number above 0. `what` is the subject of the sentence of a refusal."""
    number = number_of(value, what)
    if number <= 0:
        raise Problem(f"{what} is {number:g}; give a number above 0.")
    return number
