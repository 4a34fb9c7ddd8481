"""`coilbook diagnose`: one test a line of JSON in, one diagnosis a line out.

Needs no database and starts fast: nothing heavier than the standard library is imported.
"""

import json
from functools import lru_cache
from typing import Any, TextIO

from service.diagnosis.diagnosis import diagnose
from service.kit.jsonlines import answer_lines
from service.kit.problems import invalid
from service.wiring.builtin import BUILTIN
from service.wiring.own import parse_wiring
from service.wiring.wirings import Wiring, read


def main(stdin: TextIO, stdout: TextIO) -> int:
    """Answers every line; the exit status is 1 if any was refused.

    Takes the bytes below `stdin` where it has them, so that a line that is not UTF-8 is refused alone.
    """
    return answer_lines(getattr(stdin, "buffer", stdin), stdout, answer)


def answer(line: dict[str, Any]) -> dict[str, Any]:
    """The output line of one input line.

    Raises:
        Problem: with the sentence for the error line.
    """
    for field in ("wiring", "joined", "probed"):
        if field not in line:
            raise invalid(field, f'The line lacks "{field}".')
    wiring = _wiring(line["wiring"])
    readings = read(wiring, line["joined"], line["probed"])
    return {"id": line["id"], **diagnose(wiring, readings).to_json()}


def _wiring(described: object) -> Wiring:
    """A built-in wiring by its key, or the one that is described in full."""
    if isinstance(described, str):
        if described not in BUILTIN:
            raise invalid("wiring", f"There is no wiring {described!r}; the built-in ones are {', '.join(BUILTIN)}.")
        return BUILTIN[described]
    return _parsed(json.dumps(described))


@lru_cache(maxsize=64)
def _parsed(text: str) -> Wiring:
    # Lines often describe the same wiring again, and diagnosis prepares by the object.
    return parse_wiring(json.loads(text))
