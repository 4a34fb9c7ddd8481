import json
import subprocess
import sys
from io import StringIO
from typing import Any

import pytest

from service.lines.blame_command import main

CHECK: dict[str, Any] = {
    "id": "any",
    "components": {"mic 1": 0.01, "cable K": 0.03, "cable L": 0.03, "trunk": 0.02},
    "lines": [
        {"line": "1", "through": ["mic 1", "cable K", "trunk"], "heard": "dead"},
        {"line": "2", "through": ["cable L", "trunk"], "heard": "good"},
        {"line": "3", "through": ["cable L"], "heard": "unheard"},
    ],
}


def run(*lines: Any) -> tuple[int, list[dict[str, Any]]]:
    out = StringIO()
    status = main(StringIO("\n".join(json.dumps(line) for line in lines)), out)
    return status, [json.loads(line) for line in out.getvalue().splitlines()]


def line(**change: Any) -> dict[str, Any]:
    """The contract's line check with its first line changed."""
    return {**CHECK, "id": "x", "lines": [{**CHECK["lines"][0], **change}, *CHECK["lines"][1:]]}


def test_the_contracts_example() -> None:
    status, [answer] = run(CHECK)
    assert status == 0
    assert list(answer) == ["id", "evidence", "bad", "explanation", "explanation_probability"]
    assert list(answer["bad"]) == ["cable K", "cable L", "mic 1", "trunk"]
    assert (answer["id"], answer["explanation"]) == ("any", ["cable K"])
    assert answer["evidence"] == pytest.approx(0.03773882, rel=1e-9)
    assert answer["bad"] == pytest.approx(
        {"cable K": 0.7556675063, "cable L": 0, "mic 1": 0.2518891688, "trunk": 0}, abs=1e-8
    )
    assert answer["explanation_probability"] == pytest.approx(0.74811083, abs=1e-8)


def test_the_example_of_the_module() -> None:
    _, [answer] = run(
        {
            "id": "any",
            "components": {"mic 1": 0.01, "trunk": 0.02},
            "lines": [{"line": "1", "through": ["mic 1", "trunk"], "heard": "dead"}],
        }
    )
    assert answer["bad"] == pytest.approx({"mic 1": 0.01 / 0.0298, "trunk": 0.02 / 0.0298}, rel=1e-12)
    assert answer["explanation_probability"] == pytest.approx(0.02 * 0.99 / 0.0298, rel=1e-12)


def test_nothing_is_dead() -> None:
    _, [answer] = run({"id": "x", "components": {"K": 0.25}, "lines": []})
    assert answer == {
        "id": "x",
        "evidence": 1.0,
        "bad": {"K": 0.25},
        "explanation": [],
        "explanation_probability": 0.75,
    }


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (
            {**CHECK, "id": "x", "lines": [*CHECK["lines"], {"line": "5", "through": ["trunk"], "heard": "dead"}]},
            "nothing that line 5 goes through can be bad: all of it was heard good",
        ),
        (line(through=[]), "nothing that line 1 goes through can be bad: all of it was heard good"),
        (
            line(through=[], heard="unheard"),
            "nothing that line 1 goes through can be bad: all of it was heard good",
        ),
        (line(through=["hub"]), 'Line "1" goes through "hub", which is none of "components"; name it there.'),
        (line(through=["hub"], heard="unheard"), 'Line "1" goes through "hub", which is none of "components"'),
        (line(through=["trunk", "trunk"]), 'Line "1" goes through "trunk" twice'),
        (line(through=["trunk", 3]), 'Line "1" goes through 3, which is no name'),
        (line(through="trunk"), 'Line "1" lacks "through", a list.'),
        (line(heard="crackling"), 'Line "1" was heard "crackling"; it is one of dead, good, unheard.'),
        (line(heard=None), 'Line "1" lacks "heard", a text.'),
        (line(line="2"), 'Two lines are named "2"'),
        (line(line=1), 'Line 1 of "lines" lacks "line", a text.'),
        ({**CHECK, "id": "x", "lines": [3]}, 'Line 1 of "lines" must be an object'),
        ({**CHECK, "id": "x", "lines": {}}, 'The line lacks "lines", a list.'),
        ({**CHECK, "id": "x", "components": ["trunk"]}, '"components" must be an object'),
        *(
            ({"id": "x", "components": {"K": wrong}, "lines": []}, says)
            for wrong, says in (
                (0, 'The probability of "K" is 0; give a number above 0 and below 0.5.'),
                (0.5, 'The probability of "K" is 0.5; give a number above 0 and below 0.5.'),
                (-0.1, 'The probability of "K" is -0.1'),
                (1, 'The probability of "K" is 1;'),
                ("0.1", "The probability of \"K\" must be a number, and it is '0.1'"),
                (True, 'The probability of "K" must be a number'),
            )
        ),
    ],
)
def test_a_wrong_line_check_is_refused_and_the_rest_is_answered(wrong: dict[str, Any], says: str) -> None:
    status, [refused, answered] = run(wrong, CHECK)
    assert status == 1
    assert list(refused) == ["id", "error"]
    assert refused["id"] == "x"
    assert refused["error"].startswith(says)
    assert answered["explanation"] == ["cable K"]


@pytest.mark.parametrize("command", ["blame", "trace", "rig"])
def test_the_command_starts_light(command: str) -> None:
    """What takes long to import is not: the web, the database, arrays."""
    source = (
        "import sys; from service.__main__ import main; main([sys.argv[1]]); "
        "print(sorted({'fastapi', 'sqlalchemy', 'pydantic', 'numpy', 'scipy'} & sys.modules.keys()))"
    )
    done = subprocess.run([sys.executable, "-c", source, command], input="", capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"
