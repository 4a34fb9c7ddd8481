import json
from io import StringIO
from typing import Any

import pytest

from service.lines.trace_command import main

LINE: dict[str, Any] = {
    "id": "any",
    "parts": [
        {"name": "mic", "weight": 1, "swap_s": 40},
        {"name": "K", "weight": 3, "swap_s": 25},
        {"name": "hub", "weight": 2, "swap_s": 90},
        {"name": "trunk", "weight": 2, "swap_s": 180},
    ],
    "listen_s": {"1": 20, "3": 60},
}


def run(*lines: Any) -> tuple[int, list[dict[str, Any]]]:
    out = StringIO()
    status = main(StringIO("\n".join(json.dumps(line) for line in lines)), out)
    return status, [json.loads(line) for line in out.getvalue().splitlines()]


def part(**change: Any) -> dict[str, Any]:
    """The contract's line with its first part changed."""
    return {**LINE, "id": "x", "parts": [{**LINE["parts"][0], **change}, *LINE["parts"][1:]]}


def test_the_contracts_example() -> None:
    assert run(LINE) == (
        0,
        [
            {
                "id": "any",
                "expected_s": 132.5,
                "worst_s": 315.0,
                "first": {
                    "do": "swap",
                    "part": "K",
                    "good": {"found": "K"},
                    "dead": {
                        "do": "listen",
                        "joint": 1,
                        "dead": {"found": "mic"},
                        "good": {"do": "swap", "part": "hub", "good": {"found": "hub"}, "dead": {"found": "trunk"}},
                    },
                },
            }
        ],
    )


def test_one_part_is_found_already() -> None:
    one = {"id": "x", "parts": LINE["parts"][:1]}
    assert run(one)[1] == [{"id": "x", "expected_s": 40.0, "worst_s": 40.0, "first": {"found": "mic"}}]
    quicker = {"id": "x", "expected_s": 30.0, "worst_s": 30.0, "first": {"do": "bypass"}}
    assert run({**one, "bypass_s": 30})[1] == [quicker]


def test_a_spare_line_ends_what_would_take_longer() -> None:
    """K is likely and quick; what is behind it is not."""
    _, [answer] = run({**LINE, "listen_s": {}, "bypass_s": 75})
    assert answer["first"] == {"do": "swap", "part": "K", "good": {"found": "K"}, "dead": {"do": "bypass"}}
    assert answer["expected_s"] == 25 + 75 * 5 / 8
    assert answer["worst_s"] == 100


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (part(name="K"), 'Two parts are named "K"'),
        (part(name=3), 'Part 1 of "parts" lacks "name", a text.'),
        (part(weight=0), '"weight" of part "mic" is 0; give a number above 0.'),
        (part(weight=None), '"weight" of part "mic" must be a number'),
        (part(swap_s=-1), '"swap_s" of part "mic" is -1; give a number above 0.'),
        (part(swap_s="40"), '"swap_s" of part "mic" must be a number'),
        ({**LINE, "id": "x", "listen_s": {"4": 20}}, '"listen_s" has joint "4"; 4 parts have joints 1 to 3.'),
        ({**LINE, "id": "x", "listen_s": {"0": 20}}, '"listen_s" has joint "0"'),
        ({**LINE, "id": "x", "listen_s": {"01": 20}}, '"listen_s" has joint "01"'),
        ({**LINE, "id": "x", "listen_s": {"1": 0}}, '"listen_s" of joint 1 is 0; give a number above 0.'),
        ({**LINE, "id": "x", "listen_s": [20]}, '"listen_s" must be an object'),
        (
            {"id": "x", "parts": LINE["parts"][:1], "listen_s": {"1": 20}},
            '"listen_s" has joint "1"; 1 part has no joint.',
        ),
        (
            {"id": "x", "parts": LINE["parts"][:2], "listen_s": {"2": 20}},
            '"listen_s" has joint "2"; 2 parts have joint 1 only.',
        ),
        ({**LINE, "id": "x", "bypass_s": 0}, '"bypass_s" is 0; give a number above 0.'),
        ({**LINE, "id": "x", "bypass_s": None}, '"bypass_s" must be a number'),
        ({**LINE, "id": "x", "parts": []}, '"parts" has 0; give 1 to 16.'),
        (
            {"id": "x", "parts": [{"name": str(number), "weight": 1, "swap_s": 1} for number in range(17)]},
            '"parts" has 17; give 1 to 16.',
        ),
        ({**LINE, "id": "x", "parts": {}}, 'The line lacks "parts", a list.'),
        ({**LINE, "id": "x", "parts": ["mic"]}, 'Part 1 of "parts" must be an object'),
    ],
)
def test_a_wrong_line_is_refused_and_the_rest_is_answered(wrong: dict[str, Any], says: str) -> None:
    status, [refused, answered] = run(wrong, LINE)
    assert status == 1
    assert list(refused) == ["id", "error"]
    assert refused["id"] == "x"
    assert refused["error"].startswith(says)
    assert answered["expected_s"] == 132.5
