"""JSON Lines in, JSON Lines out: one answer for each line, in order. A bad line does not stop the rest."""

import json
from collections.abc import Callable, Iterable
from typing import Any, TextIO

from service.kit.problems import Problem

Answer = Callable[[dict[str, Any]], dict[str, Any]]


def lines_of(stdin: TextIO) -> Iterable[str | bytes]:
    """The lines of `stdin`: as bytes if it has a binary buffer, else as text; see `answer_lines`."""
    below: Iterable[str | bytes] = getattr(stdin, "buffer", stdin)
    return below


def answer_lines(lines: Iterable[str | bytes], out: TextIO, answer: Answer, key: str = "id") -> int:
    """Write `answer(object)` to `out` for each line of `lines`; the exit status is 1 if any was refused.

    A line that is not a JSON object or lacks its `key`, or for which `answer` raises a `Problem`, gives
    `{key: its key or null, "error": "one sentence"}`. So does a line with numbers that cannot be calculated with:
    `answer` then raises `ArithmeticError`, or `ValueError` for singular matrices and infinite results. Blank lines are
    skipped. Lines may be bytes: then only the line that is not UTF-8 is refused, while as text it would end the
    reading.
    """
    status = 0
    for line in lines:
        if not line.strip():
            continue
        name = None
        try:
            request, no_number = _read(line)
            name = _name(request, key)
            _refuse(no_number)
            answered = _written(answer, request)
        except Problem as problem:
            refuse_line(out, problem, key, name)
            status = 1
        else:
            out.write(answered)
    return status


def _written(answer: Answer, request: dict[str, Any]) -> str:
    try:
        return _line(answer(request))
    except (ArithmeticError, ValueError) as error:
        raise Problem(f"The numbers of this line lead beyond what can be reckoned: {error}.") from error


def read_object(line: str | bytes) -> dict[str, Any]:
    """The JSON object in `line`; raises `Problem`."""
    fields, no_number = _read(line)
    _refuse(no_number)
    return fields


def _read(line: str | bytes) -> tuple[dict[str, Any], list[str]]:
    """The object in `line`, and the names in it that Python reads as numbers but JSON (RFC 8259) forbids: NaN,
    Infinity.

    They are not refused here, because the key that names the line can still be read.
    """
    no_number: list[str] = []
    try:
        text = line.decode("utf-8-sig") if isinstance(line, bytes) else line
        value = json.loads(text, parse_constant=no_number.append)
    except (ValueError, RecursionError) as error:
        raise Problem(f"This line is not JSON: {error}.") from error
    if not isinstance(value, dict):
        raise Problem("This line is JSON, but not an object with names and values.")
    return value, no_number


def _refuse(no_number: list[str]) -> None:
    if no_number:
        raise Problem(f"This line is not JSON: {no_number[0]} is no number in JSON.")


def write_line(out: TextIO, answer: dict[str, Any]) -> None:
    """Write one answer as ASCII, which every terminal and locale can show."""
    out.write(_line(answer))


def _line(answer: dict[str, Any]) -> str:
    return json.dumps(answer, allow_nan=False) + "\n"


def refuse_line(out: TextIO, problem: Problem, key: str = "id", name: str | None = None) -> None:
    """Write the error of the line with this `name` under `key`."""
    write_line(out, {key: name, "error": problem.detail})


def _name(request: dict[str, Any], key: str) -> str:
    name = request.get(key)
    if not isinstance(name, str):
        raise Problem(f'The line lacks "{key}", a text that names it.')
    return name
