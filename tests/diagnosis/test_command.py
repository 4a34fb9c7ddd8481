import json
import subprocess
import sys
from io import BytesIO, StringIO, TextIOWrapper
from typing import Any

import pytest

from service.diagnosis.command import main

GOOD = {"wiring": "xlr3", "joined": [["A1", "B1"], ["A2", "B2"], ["A3", "B3"]], "probed": "all"}
OWN = {
    "ends": {"A": ["1"], "B": ["1"]},
    "conductors": [{"name": "1", "a": "A1", "b": "B1", "role": "single", "pair": None, "lane": None}],
    "bonds": [],
}


def answers(*lines: object) -> tuple[int, list[dict[str, Any]]]:
    text = "".join((line if isinstance(line, str) else json.dumps(line)) + "\n" for line in lines)
    out = StringIO()
    status = main(StringIO(text), out)
    return status, [json.loads(line) for line in out.getvalue().splitlines()]


def test_the_contracts_example() -> None:
    crossed = {"joined": [["A1", "B1"], ["A2", "B3"], ["A3", "B2"]]}
    assert answers({"id": "any string", **GOOD, **crossed}) == (
        0,
        [
            {
                "id": "any string",
                "verdict": "fail",
                "faults": [{"class": "reversed_pair", "conductors": ["2", "3"], "end": None}],
                "unproven": [],
                "blind_to": ["split_pair", "intermittent", "high_resistance"],
            }
        ],
    )


def test_lines_are_answered_in_order_and_a_bad_one_does_not_stop_the_rest() -> None:
    status, found = answers({"id": "a", **GOOD}, "", "not json", {"id": "b", **GOOD, "wiring": OWN, "joined": []})
    assert status == 1
    assert [line["id"] for line in found] == ["a", None, "b"]
    assert found[0]["verdict"] == "pass"
    assert found[2]["faults"] == [{"class": "open", "conductors": ["1"], "end": None}]


@pytest.mark.parametrize(
    ("change", "culprit"),
    [
        ({"wiring": "xlr9"}, "no wiring 'xlr9'"),
        ({"wiring": 7}, '"ends"'),
        ({"wiring": {**OWN, "bonds": [["A1", "B1"]]}}, "['A1', 'B1']"),
        ({"joined": [["A1", "B9"]]}, "'B9'"),
        ({"probed": ["A1"]}, "Contact B1"),
        ({"probed": ["A1", "C1"]}, "'C1'"),
    ],
)
def test_bad_input_is_refused_under_its_id(change: dict[str, Any], culprit: str) -> None:
    status, (line,) = answers({"id": "x", **GOOD, **change})
    assert status == 1
    assert set(line) == {"id", "error"}
    assert line["id"] == "x"
    assert culprit in line["error"]


@pytest.mark.parametrize("missing", ["wiring", "joined", "probed"])
def test_a_line_that_lacks_a_part_is_refused(missing: str) -> None:
    line = {"id": "x", **GOOD}
    del line[missing]
    assert answers(line) == (1, [{"id": "x", "error": f'The line lacks "{missing}".'}])


def test_a_line_that_is_not_utf_8_is_refused_alone() -> None:
    line = json.dumps({"id": "é", **GOOD}, ensure_ascii=False).encode()
    out = StringIO()
    status = main(TextIOWrapper(BytesIO(b'{"id": "\xff"}\n' + line + b"\n")), out)
    assert status == 1
    assert [json.loads(text)["id"] for text in out.getvalue().splitlines()] == [None, "é"]


def test_an_explanation_that_is_not_proven_least_says_so() -> None:
    """Five faults that cost six: that no other five cost less was not ruled out."""
    made = [["A1", "A2"], ["A3", "As", "Bs"], ["B1", "B3"]]
    _, (line,) = answers({"id": "x", **GOOD, "joined": made})
    assert line["least"] is False
    assert "least" not in answers({"id": "x", **GOOD, "joined": []})[1][0]


def test_the_command_loads_nothing_heavy() -> None:
    code = (
        "import sys; from service.diagnosis import command; "
        "print([name for name in ('pydantic', 'numpy', 'scipy', 'networkx', 'fastapi', 'sqlalchemy') "
        "if name in sys.modules])"
    )
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert loaded.stdout.strip() == "[]"
