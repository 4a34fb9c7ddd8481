"""JSON Lines in, JSON Lines out: one answer a line, in order, and a bad line never stops the rest."""

import json
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from service.kit.problems import Problem


class LineAnswers:
    """Answers each line of `lines` with `answer(object)`; iterate to get the output lines.

    A line that is not a JSON object, or for which `answer` raises a `Problem`, gives
    `{key: its key or null, "error": "one sentence"}`. Blank lines are skipped.
    `failed` says, once iterated, whether any line was refused (the exit status 1 of the commands).
    """

    def __init__(
        self, lines: Iterable[str], answer: Callable[[dict[str, Any]], dict[str, Any]], key: str = "id"
    ) -> None:
        self._lines = lines
        self._answer = answer
        self._key = key
        self.failed = False

    def __iter__(self) -> Iterator[str]:
        for line in self._lines:
            if line.strip():
                yield json.dumps(self._one(line), ensure_ascii=False)

    def _one(self, line: str) -> dict[str, Any]:
        name: Any = None
        try:
            asked = _object(line)
            name = asked.get(self._key)
            if not isinstance(name, str):
                name = None
                raise Problem(f'The line lacks "{self._key}", a text that names it.')
            return self._answer(asked)
        except Problem as problem:
            self.failed = True
            return {self._key: name, "error": problem.detail}


def _object(line: str) -> dict[str, Any]:
    try:
        asked = json.loads(line)
    except (ValueError, RecursionError) as error:
        raise Problem(f"This line is not JSON: {error}.") from error
    if not isinstance(asked, dict):
        raise Problem("This line is JSON, but not an object with names and values.")
    return asked
