"""`coilbook blame`: what is to blame for channels that are dead, without a database. One line check a line:

    {"id": "any", "components": {"mic 1": 0.01, "trunk": 0.02},
     "lines": [{"line": "1", "through": ["mic 1", "trunk"], "heard": "dead"}]}

answers with the probability of what was heard, that of each component to be bad, and the most probable explanation:

    {"id": "any", "evidence": 0.0298, "bad": {"mic 1": 0.33557046979865773, "trunk": 0.6711409395973155},
     "explanation": ["trunk"], "explanation_probability": 0.6644295302013423}

The method and its assumptions: `service.lines.core.blame`.
"""

from collections.abc import Mapping
from typing import Any, Final, TextIO

from service.kit.jsonfields import list_of, number_of, object_of, text_of
from service.kit.jsonlines import answer_lines, lines_of
from service.kit.problems import Problem
from service.lines.core.blame import CheckedLine, Heard, blame

_MOST_PROBABLE: Final = 0.5


def main(stdin: TextIO, stdout: TextIO) -> int:
    """Answer each line check of `stdin` on `stdout`; the exit status is 1 if any line was refused."""
    return answer_lines(lines_of(stdin), stdout, _answer)


def _answer(line: dict[str, Any]) -> dict[str, Any]:
    components = {name: _probability(name, value) for name, value in object_of(line, "components").items()}
    lines: dict[str, CheckedLine] = {}
    for number, fields in enumerate(list_of(line, "lines"), 1):
        name = text_of(fields, "line", f'Line {number} of "lines"')
        if name in lines:
            raise Problem(f'Two lines are named "{name}"; give each a name of its own.')
        lines[name] = CheckedLine(name, _through(fields, name, components), _heard(fields, name))
    answer = blame(components, list(lines.values()))
    return {
        "id": line["id"],
        "evidence": answer.evidence,
        "bad": answer.bad,
        "explanation": answer.explanation,
        "explanation_probability": answer.explanation_probability,
    }


def _probability(name: str, value: Any) -> float:
    probability = number_of(value, f'The probability of "{name}"')
    if not 0 < probability < _MOST_PROBABLE:
        raise Problem(f'The probability of "{name}" is {value}; give a number above 0 and below {_MOST_PROBABLE}.')
    return probability


def _through(fields: Mapping[str, Any], line: str, components: Mapping[str, float]) -> frozenset[str]:
    through = set[str]()
    for name in list_of(fields, "through", f'Line "{line}"'):
        if not isinstance(name, str):
            raise Problem(f'Line "{line}" goes through {name!r}, which is no name; give a text.')
        if name not in components:
            raise Problem(f'Line "{line}" goes through "{name}", which is none of "components"; name it there.')
        if name in through:
            raise Problem(f'Line "{line}" goes through "{name}" twice; name it once.')
        through.add(name)
    return frozenset(through)


def _heard(fields: Mapping[str, Any], line: str) -> Heard:
    heard = text_of(fields, "heard", f'Line "{line}"')
    if heard not in list(Heard):
        raise Problem(f'Line "{line}" was heard "{heard}"; it is one of {", ".join(Heard)}.')
    return Heard(heard)
