"""`coilbook diagnose`: one test a line of JSON in, one diagnosis a line out.

Needs no database and starts fast: nothing heavier than the standard library is imported.
"""

import json
from typing import Any, Final, TextIO

from service.diagnosis.diagnosis import diagnose
from service.kit.jsonlines import answer_lines
from service.kit.problems import invalid
from service.wiring.builtin import BUILTIN
from service.wiring.own import parse_wiring
from service.wiring.wirings import Wiring, read

_REMEMBERED: Final = 64


def main(stdin: TextIO, stdout: TextIO) -> int:
    """Answers every line; the exit status is 1 if any was refused.

    Takes the bytes below `stdin` where it has them, so that a line that is not UTF-8 is refused alone.
    """
    return answer_lines(getattr(stdin, "buffer", stdin), stdout, Diagnoser().answer)


class Diagnoser:
    """Answers lines, and remembers the last wirings that were described in full."""

    def __init__(self) -> None:
        self._own: dict[str, Wiring] = {}

    def answer(self, asked: dict[str, Any]) -> dict[str, Any]:
        """The output line of one input line. Raises `Problem` with the sentence for the error line."""
        for field in ("wiring", "joined", "probed"):
            if field not in asked:
                raise invalid(field, f'The line lacks "{field}".')
        wiring = self._wiring(asked["wiring"])
        readings = read(wiring, asked["joined"], asked["probed"])
        return {"id": asked["id"], **diagnose(wiring, readings).to_json()}

    def _wiring(self, asked: object) -> Wiring:
        if isinstance(asked, str):
            if asked not in BUILTIN:
                raise invalid("wiring", f"There is no wiring {asked!r}; the built-in ones are {', '.join(BUILTIN)}.")
            return BUILTIN[asked]
        described = json.dumps(asked, sort_keys=True)
        if described not in self._own:
            if len(self._own) >= _REMEMBERED:
                self._own.pop(next(iter(self._own)))
            self._own[described] = parse_wiring(asked)
        return self._own[described]
