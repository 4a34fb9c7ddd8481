import json
from io import StringIO
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.wear.command import main

CLASS = {
    "id": "any",
    "lives": [[0, 30], [30, 60], [60, None], [45, 45]],
    "at": [30, 90],
    "unavailability": 0.01,
}


def run(*lines: Any) -> tuple[int, list[dict[str, Any]]]:
    out = StringIO()
    status = main(StringIO("\n".join(json.dumps(line) for line in lines)), out)
    return status, [json.loads(line) for line in out.getvalue().splitlines()]


def test_the_contracts_example() -> None:
    status, [answer] = run(CLASS)
    assert status == 0
    assert list(answer) == [
        "id",
        "model",
        "shape",
        "scale",
        "log_likelihood",
        "survival",
        "interval",
        "failures",
        "lives",
    ]
    assert (answer["id"], answer["model"], answer["failures"], answer["lives"]) == ("any", "weibull", 3, 4)
    assert answer["shape"] == pytest.approx(2.40661, abs=5e-6)
    assert answer["scale"] == pytest.approx(51.8211, abs=5e-5)
    assert answer["log_likelihood"] == pytest.approx(-7.49662, abs=5e-6)
    assert answer["survival"] == pytest.approx([0.76464, 0.02293], abs=5e-6)
    assert answer["interval"] == pytest.approx(12.778, abs=5e-4)


def test_counts_are_summed() -> None:
    _, [answer] = run({**CLASS, "lives": [[0, 30, 2], [30, 60], [60, None, 7]]})
    assert (answer["failures"], answer["lives"]) == (3, 10)


def test_no_model_gives_nulls_the_counts_and_a_reason() -> None:
    status, [answer] = run({**CLASS, "lives": [[0, 30], [30, None, 7]]})
    assert status == 0
    assert answer.pop("why")
    assert answer == {
        "id": "any",
        "model": "none",
        "shape": None,
        "scale": None,
        "log_likelihood": None,
        "survival": [None, None],
        "interval": None,
        "failures": 1,
        "lives": 8,
    }


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"lives": [[60, 30]]}, "ends before it starts"),
        ({"lives": [[-1, 30]]}, "starts before 0"),
        ({"lives": [[0, 0]]}, "failed before any use"),
        ({"lives": [[0]]}, "[lower, upper]"),
        ({"lives": [30]}, "[lower, upper]"),
        ({"lives": [["0", 30]]}, "The lower bound of a life must be a number, and it is '0'"),
        ({"lives": [[0, True]]}, "The upper bound of a life must be a number, and it is True"),
        ({"lives": [[0, 10**400]]}, "give a number below 1e+100"),
        ({"lives": [[0, 1e308]]}, "The upper bound of a life is 1e+308; give a number below 1e+100"),
        ({"lives": [[0, 30, 0]]}, "counts 0 items"),
        ({"lives": [[0, 30, 1.5]]}, "The count of a life is 1.5"),
        ({"lives": None}, 'lacks "lives"'),
        ({"at": None}, 'lacks "at"'),
        ({"at": [-1]}, 'A time in "at" is -1'),
        ({"at": [None]}, 'A time in "at" must be a number'),
        ({"unavailability": 0}, "above 0 and below 1"),
        ({"unavailability": 1}, "above 0 and below 1"),
        ({"unavailability": None}, '"unavailability" must be a number'),
    ],
)
def test_a_wrong_line_is_refused_and_the_rest_answered(change: dict[str, Any], says: str) -> None:
    status, [refused, answered] = run({**CLASS, "id": "x", **change}, CLASS)
    assert status == 1
    assert list(refused) == ["id", "error"]
    assert refused["id"] == "x"
    assert says in refused["error"]
    assert answered["model"] == "weibull"


@pytest.mark.parametrize("upper", [float("inf"), float("nan")])
def test_what_json_has_no_number_for_is_no_json(upper: float) -> None:
    status, [refused, answered] = run({**CLASS, "lives": [[0, upper]]}, CLASS)
    assert status == 1
    assert refused["id"] == "any"
    assert "no number in JSON" in refused["error"]
    assert answered["model"] == "weibull"


def test_counts_beyond_what_a_float_holds_are_summed_exactly() -> None:
    status, [answered] = run({**CLASS, "lives": [[0, 30, 2**53 + 1], [20, None, 2.0]]})
    assert status == 0
    assert (answered["failures"], answered["lives"]) == (2**53 + 1, 2**53 + 3)


@pytest.mark.parametrize(
    ("lives", "unavailability", "shape", "scale"),
    [
        ([[62, None, 20], [4, 91, 20], [82, None, 2000], [27, 73]], 0.1, 79.958274, 89.335942),
        ([[38, 63], [45, 111, 200], [91, 226, 15000]], 0.1, 52.599889, 107.098895),
        ([[100.0000000005695, 100.04992876787978], [100.0000000000325] * 2], 0.1, 2.380754e11, 100.0),
        ([[26.4, 210.493, 10**12], [225.3155363368, None]], 0.1, 14.480892, 167.812860),
        ([[6.05e-11, 6.05e-11], [479.1, 479.1]], 0.999999999999, 0.08078566, 0.26378784),
    ],
)
def test_lives_as_far_apart_as_the_contract_allows(
    lives: list[Any], unavailability: float, shape: float, scale: float
) -> None:
    """Shapes and scales by `likeliest_near`, with a hundred digits."""
    status, [answer, after] = run({**CLASS, "lives": lives, "unavailability": unavailability}, CLASS)
    assert status == 0
    assert answer["shape"] == pytest.approx(shape, rel=1e-6)
    assert answer["scale"] == pytest.approx(scale, rel=1e-6)
    assert answer["interval"] > 0
    assert after["model"] == "weibull"


bounds = st.floats(0, 1e99) | st.floats(0, 300) | st.floats(100, 100.000001) | st.sampled_from([5e-324, 1e-300])
counts = st.sampled_from([1, 7, 10**6, 10**12, 10**50])
any_lives = st.lists(
    st.tuples(bounds, bounds, counts).map(lambda life: [min(life[:2]), max(life[:2]) or 1.0, life[2]])
    | st.tuples(bounds, st.none(), counts).map(list),
    max_size=6,
)


@settings(deadline=None)
@given(any_lives, st.lists(bounds, max_size=2), st.floats(0, 1, exclude_min=True, exclude_max=True))
def test_whatever_numbers_a_line_has_the_next_is_answered(
    lives: list[Any], at: list[float], unavailability: float
) -> None:
    line = {"id": "x", "lives": lives, "at": at, "unavailability": unavailability}
    _, [answer, after] = run(line, CLASS)
    assert answer["id"] == "x"
    assert "error" in answer or (answer["model"] == "none") == (answer["interval"] is None)
    assert after["model"] == "weibull"
