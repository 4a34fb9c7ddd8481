"""Reading the fields of a JSON object: numbers, texts, lists, objects. Each raises `Problem`, which names the field."""

from collections.abc import Mapping
from math import inf
from typing import Any, Final

from service.kit.problems import Problem

_TOO_LARGE: Final = 1e100
"""Numbers from here on are refused: they are far above any count, length or time, and their powers overflow."""


def list_of(fields: Mapping[str, Any], name: str, subject: str = "The line") -> list[Any]:
    """The list under this name. `subject` is the subject of the error's sentence."""
    values = fields.get(name)
    if not isinstance(values, list):
        raise Problem(f'{subject} lacks "{name}", a list.')
    return values


def object_of(fields: Mapping[str, Any], name: str) -> dict[str, Any]:
    """The object under this name."""
    value = fields.get(name)
    if not isinstance(value, dict):
        raise Problem(f'"{name}" must be an object with names and values.')
    return value


def text_of(fields: Any, name: str, subject: str) -> str:
    """The text under this name. `subject` is the subject of the error's sentence."""
    if not isinstance(fields, dict):
        raise Problem(f"{subject} must be an object with names and values.")
    text = fields.get(name)
    if not isinstance(text, str):
        raise Problem(f'{subject} lacks "{name}", a text.')
    return text


def number_of(value: Any, subject: str) -> float:
    """A number that can be a count, a length or a time. `subject` is the subject of the error's sentence."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < inf:
        raise Problem(f"{subject} must be a number, and it is {repr(value)[:40]}.")
    if abs(value) >= _TOO_LARGE:
        raise Problem(f"{subject} is {repr(value)[:40]}; give a number below {_TOO_LARGE:g}.")
    return float(value)


def positive_of(value: Any, subject: str) -> float:
    """A number above 0. `subject` is the subject of the error's sentence."""
    number = number_of(value, subject)
    if number <= 0:
        raise Problem(f"{subject} is {number:g}; give a number above 0.")
    return number
