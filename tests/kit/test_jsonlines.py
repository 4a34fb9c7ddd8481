import json
import math
from io import StringIO
from typing import Any

import pytest

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
        next(part for part in ("not JSON", "not an object", 'lacks "id"') if part in line["error"]) for line in lines
    ] == ["not JSON", "not an object", 'lacks "id"', 'lacks "id"', "not JSON"]


@pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity"])
def test_what_is_no_number_in_json_is_refused_with_the_name_of_its_line(word: str) -> None:
    status, lines = answers(f'{{"n": [{word}, 1], "id": "a"}}\n{{"id": {word}}}\n[{word}]\n{{"id": "b", "n": 2}}')
    assert status == 1
    assert [line["id"] for line in lines] == ["a", None, None, "b"]
    assert lines[0]["error"] == f"This line is not JSON: {word} is no number in JSON."
    assert lines[3] == {"id": "b", "n": 4}


def test_numbers_that_cannot_be_reckoned_with_are_their_own_lines_error() -> None:
    def share(asked: dict[str, Any]) -> dict[str, Any]:
        return {"id": asked["id"], "n": math.log(asked["of"] / asked["n"]), "more": asked["of"] * 1e300}

    out = StringIO()
    asked = [{"id": "a", "of": 1, "n": 0}, {"id": "b", "of": -1, "n": 1}, {"id": "c", "of": 1e9, "n": 1}]
    text = "".join(json.dumps(line) + "\n" for line in [*asked, {"id": "d", "of": 1, "n": 1}])
    assert answer_lines(StringIO(text), out, share) == 1
    *refused, last = [json.loads(line) for line in out.getvalue().splitlines()]
    assert [line["id"] for line in refused] == ["a", "b", "c"]
    assert all("lead beyond what can be reckoned: " in line["error"] for line in refused)
    assert last == {"id": "d", "n": 0, "more": 1e300}


def test_any_text_can_name_a_line() -> None:
    names = ["é", "“", "\U0001f39b", "\ud800", ""]
    _, lines = answers("".join(json.dumps({"id": name, "n": 1}) + "\n" for name in names))
    assert [line["id"] for line in lines] == names


@pytest.mark.parametrize("line", [b"\xff\xfe\n", b'{"id": "\xe9", "n": 1}\n', b'{"id": "\xed\xa0\x80", "n": 1}\n'])
def test_a_line_of_bytes_is_read_as_utf_8_and_as_nothing_else(line: bytes) -> None:
    out = StringIO()
    marked = b"\xef\xbb\xbf" + '{"id": "é", "n": 1}\n'.encode()
    assert answer_lines([marked, line], out, double) == 1
    answered, refused = [json.loads(text) for text in out.getvalue().splitlines()]
    assert answered == {"id": "é", "n": 2}
    assert refused["id"] is None
    assert "utf-8" in refused["error"]
