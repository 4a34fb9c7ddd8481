"""`coilbook trace`: what to try first where one channel is dead, and then, without a database. One dead line a line:

    {"id": "any", "parts": [{"name": "mic", "weight": 1, "swap_s": 40}, {"name": "K", "weight": 3, "swap_s": 25}],
     "listen_s": {"1": 20}, "bypass_s": 90}

answers with the plan that has it work again in the least time on average:

    {"id": "any", "expected_s": 35.0, "worst_s": 65.0,
     "first": {"do": "swap", "part": "K", "good": {"found": "K"}, "dead": {"found": "mic"}}}

The method and its assumptions: `service.lines.core.trace`.
"""

from collections.abc import Mapping
from math import inf
from typing import Any, TextIO

from service.kit.jsonfields import list_of, object_of, positive_of, text_of
from service.kit.jsonlines import answer_lines, lines_of
from service.kit.problems import Problem
from service.lines.core.trace import MOST_PARTS, Bypass, FoundPart, LinePart, Listen, Step, SwapPart, trace


def main(stdin: TextIO, stdout: TextIO) -> int:
    """Answer each dead line of `stdin` on `stdout`; the exit status is 1 if any line was refused."""
    return answer_lines(lines_of(stdin), stdout, _answer)


def _answer(line: dict[str, Any]) -> dict[str, Any]:
    parts: dict[str, LinePart] = {}
    for number, fields in enumerate(list_of(line, "parts"), 1):
        name = text_of(fields, "name", f'Part {number} of "parts"')
        if name in parts:
            raise Problem(f'Two parts are named "{name}"; give each a name of its own.')
        weight, swap_s = (positive_of(fields.get(what), f'"{what}" of part "{name}"') for what in ("weight", "swap_s"))
        parts[name] = LinePart(name, weight, swap_s)
    if not 1 <= len(parts) <= MOST_PARTS:
        raise Problem(f'"parts" has {len(parts)}; give 1 to {MOST_PARTS}.')
    bypass_s = positive_of(line["bypass_s"], '"bypass_s"') if "bypass_s" in line else inf
    plan = trace(list(parts.values()), _listen_s(line, len(parts)), bypass_s)
    return {"id": line["id"], "expected_s": plan.expected_s, "worst_s": plan.worst_s, "first": step_fields(plan.first)}


def _listen_s(line: Mapping[str, Any], parts: int) -> dict[int, float]:
    joints = {str(joint): joint for joint in range(1, parts)}
    listen_s: dict[int, float] = {}
    for name, seconds in object_of(line, "listen_s").items() if "listen_s" in line else ():
        if name not in joints:
            raise Problem(f'"listen_s" has joint "{name}"; {_joints(parts)}.')
        listen_s[joints[name]] = positive_of(seconds, f'"listen_s" of joint {name}')
    return listen_s


def _joints(parts: int) -> str:
    if parts == 1:
        return "1 part has no joint"
    return f"{parts} parts have {'joint 1 only' if parts == 2 else f'joints 1 to {parts - 1}'}"


def step_fields(step: Step) -> dict[str, Any]:
    """A plan as it is written."""
    match step:
        case FoundPart():
            return {"found": step.part}
        case Bypass():
            return {"do": "bypass"}
        case Listen():
            return {"do": "listen", "joint": step.joint, "dead": step_fields(step.dead), "good": step_fields(step.good)}
        case SwapPart():
            return {"do": "swap", "part": step.part, "good": {"found": step.part}, "dead": step_fields(step.dead)}
