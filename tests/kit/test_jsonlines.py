import json
from io import StringIO
from typing import Any

from service.kit.jsonlines import answer_lines
from service.kit.problems import Problem


def double(asked: dict[str, Any]) -> dict[str, Any]:
    if asked["n"] < 0:
        raise Problem("n is below 0; give 0 or more.")
    return {"id": asked["id"], "n": 2 * asked["n"]}


def answers(text: str) -> tuple[int, list[dict[str, Any]]]:
    out = StringIO()
    status = answer_lines(StringIO(text), out, double)
    return status, [json.loads(line) for line in out.getvalue().splitlines()]


def test_each_line_is_answered_in_order_and_blank_ones_are_skipped() -> None:
    assert answers('{"id": "a", "n": 1}\n\n  \n{"id": "b", "n": 2}') == (
        0,
        [{"id": "a", "n": 2}, {"id": "b", "n": 4}],
    )


def test_a_refused_line_does_not_stop_the_rest() -> None:
    status, lines = answers('{"id": "a", "n": -1}\n{"id": "b", "n": 2}\n')
    assert status == 1
    assert lines == [{"id": "a", "error": "n is below 0; give 0 or more."}, {"id": "b", "n": 4}]


def test_a_line_that_is_no_object_or_has_no_name_is_refused_without_one() -> None:
    status, lines = answers('{"id": "a"\n[1]\n{"n": 1}\n{"id": 7, "n": 1}\n' + "[" * 100_000)
    assert status == 1
    assert [line["id"] for line in lines] == [None] * 5
    assert [
        next(part for part in ("not JSON", "not an object", 'lacks "id"') if part in line["error"])
        for line in lines
    ] == ["not JSON", "not an object", 'lacks "id"', 'lacks "id"', "not JSON"]


def test_any_text_can_name_a_line() -> None:
    names = ["é", "“", "\U0001f39b", "\ud800", ""]
    _, lines = answers("".join(json.dumps({"id": name, "n": 1}) + "\n" for name in names))
    assert [line["id"] for line in lines] == names
