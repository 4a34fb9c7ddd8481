"""JSON Lines in, JSON Lines out: one answer a line, in order, and a bad line never stops the rest."""

import json
from collections.abc import Callable, Iterable
from typing import Any, NoReturn, TextIO

from service.kit.problems import Problem

Answer = Callable[[dict[str, Any]], dict[str, Any]]


def lines_of(stdin: TextIO) -> Iterable[str | bytes]:
    """The lines of `stdin`, as the bytes below it where it has them: see `answer_lines`."""
    below: Iterable[str | bytes] = getattr(stdin, "buffer", stdin)
    return below


def answer_lines(lines: Iterable[str | bytes], out: TextIO, answer: Answer, key: str = "id") -> int:
    """Write `answer(object)` to `out` for each line of `lines`; the exit status is 1 if any was refused.

    A line that is not a JSON object or lacks its `key`, or for which `answer` raises a `Problem`, gives
    `{key: its key or null, "error": "one sentence"}`. Blank lines are skipped.
    Lines may be bytes: one that is not UTF-8 is then refused alone, where text would end the reading.
    """
    status = 0
    for line in lines:
        if not line.strip():
            continue
        name = None
        try:
            asked = read_object(line)
            name = _name(asked, key)
            write_line(out, answer(asked))
        except Problem as problem:
            refuse_line(out, problem, key, name)
            status = 1
    return status


def read_object(line: str | bytes) -> dict[str, Any]:
    """The JSON object in `line`; raises `Problem`."""
    try:
        asked = json.loads(line, parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise Problem(f"This line is not JSON: {error}.") from error
    if not isinstance(asked, dict):
        raise Problem("This line is JSON, but not an object with names and values.")
    return asked


def _no_number(word: str) -> NoReturn:
    # Python reads NaN and Infinity as numbers; JSON (RFC 8259) has no such thing.
    raise ValueError(f"{word} is no number in JSON")


def write_line(out: TextIO, answer: dict[str, Any]) -> None:
    """Write one answer, in ASCII, which every terminal and locale can carry."""
    out.write(json.dumps(answer, allow_nan=False) + "\n")


def refuse_line(out: TextIO, problem: Problem, key: str = "id", name: str | None = None) -> None:
    """Write the refusal of the line that `name` names."""
    write_line(out, {key: name, "error": problem.detail})


def _name(asked: dict[str, Any], key: str) -> str:
    name = asked.get(key)
    if not isinstance(name, str):
        raise Problem(f'The line lacks "{key}", a text that names it.')
    return name
