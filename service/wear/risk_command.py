"""`coilbook risk`: the chance that each item of a program has an undetected failure at an event, without a database.

Reads one whole program a line:

    {"id": "any", "items": [{"name": "F6AZ3D", "class": ["cable", "cable xlr3"], "lives": [[30, 60], [22, null]],
     "passed": 22, "event": 31}]}

and answers with `{"id": "any", "risk": {"F6AZ3D": 0.0431}}`. Method and assumptions: `service.wear.core.pooling`.
"""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final, TextIO

from service.kit.jsonfields import list_of, number_of, text_of
from service.kit.jsonlines import answer_lines, lines_of
from service.kit.problems import Problem
from service.wear.core.lives import Life
from service.wear.json_lives import life_of

if TYPE_CHECKING:
    from service.wear.core.pooling import PooledItem

_OF_PROGRAM: Final = ("id", "items")
_OF_ITEM: Final = ("name", "class", "lives", "passed", "event")


def main(stdin: TextIO, stdout: TextIO) -> int:
    """Answer each line of `stdin` on `stdout`; return the exit status, 1 if any line was refused."""
    return answer_lines(lines_of(stdin), stdout, _answer)


def _answer(line: dict[str, Any]) -> dict[str, Any]:
    from service.wear.core.pooling import bad_at_event  # numpy would slow the start of the command

    _refuse_other_fields(line, _OF_PROGRAM, "The line")
    items: dict[str, PooledItem] = {}
    for number, item in enumerate(list_of(line, "items"), 1):
        name = text_of(item, "name", f'Item {number} of "items"')
        if name in items:
            raise Problem(f'Two items are named "{name}"; give each a name of its own.')
        items[name] = _item(item, f'Item "{name}"')
    return {"id": line["id"], "risk": dict(zip(items, bad_at_event(list(items.values())), strict=True))}


def _item(item: Mapping[str, Any], whose: str) -> "PooledItem":
    from service.wear.core.pooling import PooledItem

    _refuse_other_fields(item, _OF_ITEM, whose)
    passed, event = (number_of(item[name], f'{whose}: "{name}"') for name in ("passed", "event"))
    if passed < 0:
        raise Problem(f'{whose}: "passed" is {passed:g}; ages start at 0.')
    if event < passed:
        raise Problem(f'{whose}: "event" is {event:g}, before "passed", {passed:g}; give its age at the event.')
    return PooledItem(_class(item["class"], whose), _lives(item["lives"], passed, whose), passed, event)


def _class(path: Any, whose: str) -> tuple[str, ...]:
    if not isinstance(path, list) or not path or not all(isinstance(step, str) for step in path):
        raise Problem(f'{whose}: "class" must be a list of texts, from wide to narrow, one at least.')
    return tuple(path)


def _lives(lives: Any, passed: float, whose: str) -> tuple[Life, ...]:
    if not isinstance(lives, list):
        raise Problem(f'{whose}: "lives" must be a list.')
    try:
        read = tuple(life_of(life) for life in lives)
    except Problem as problem:
        raise Problem(f"{whose}: {problem.detail}") from problem
    if not read or read[-1] != Life(passed, None):
        raise Problem(f'{whose}: the last of "lives" must be the running one, [{passed:g}, null].')
    return read


def _refuse_other_fields(given: Mapping[str, Any], fields: tuple[str, ...], whose: str) -> None:
    for name in fields:
        if name not in given:
            raise Problem(f'{whose} lacks "{name}".')
    for name in given:
        if name not in fields:
            raise Problem(f'{whose} has "{name}", which is none of {", ".join(fields)}.')
