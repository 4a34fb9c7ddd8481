"""`coilbook wear` with a model that is known, and with a season that has tests in it."""

from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from service.wear.core.undetected import season_bad
from service.wear.core.weibull import Weibull
from tests.wear.test_command import CLASS, run

SEASON = {"days": 105, "ages": [0, 105, 210], "tests": [26.25, 78.75]}
KNOWN = {"id": "any", "lives": [], "known": {"shape": 1.8, "scale": 450}, "season": SEASON}


def test_the_contracts_example() -> None:
    """0.029208 by the integrals, 0.0293 by a simulation of 1,200,000 items."""
    status, [answer] = run(KNOWN)
    assert status == 0
    assert answer.pop("season_bad") == pytest.approx(0.0292081, abs=1e-7)
    assert answer == {
        "id": "any",
        "model": "known",
        "shape": 1.8,
        "scale": 450.0,
        "log_likelihood": None,
        "survival": [],
        "interval": None,
        "failures": 0,
        "lives": 0,
    }


def test_a_known_model_is_not_fitted_but_lives_are_counted() -> None:
    known = {"shape": 1.0, "scale": 1000}
    _, [answer] = run({**CLASS, "known": known})
    assert (answer["model"], answer["failures"], answer["lives"]) == ("known", 3, 4)
    model = Weibull(1, 1000, 0)
    assert answer["survival"] == [model.survival(30), model.survival(90)]
    assert answer["interval"] == model.interval(0.01)
    assert "season_bad" not in answer


def test_a_season_by_the_model_that_is_fitted() -> None:
    _, [answer] = run({**CLASS, "season": SEASON})
    model = Weibull(answer["shape"], answer["scale"], 0)
    assert answer["season_bad"] == season_bad(model, 105, [0, 105, 210], [26.25, 78.75])


def test_without_a_model_nothing_is_known_of_the_season() -> None:
    status, [answer] = run({"id": "any", "lives": [[0, 30]], "season": SEASON})
    assert status == 0
    assert (answer["model"], answer["season_bad"], answer["survival"], answer["interval"]) == ("none", None, [], None)
    assert answer["why"]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"days": 0}, '"days" of a season is 0'),
        ({"days": -3}, '"days" of a season is -3'),
        ({"days": None}, '"days" of a season must be a number'),
        ({"ages": []}, '"ages" of a season is empty'),
        ({"ages": None}, '"season" lacks "ages", a list'),
        ({"ages": [0, -1]}, 'An age in "ages" is -1'),
        ({"ages": ["0"]}, "An age in \"ages\" must be a number, and it is '0'"),
        ({"tests": None}, '"season" lacks "tests", a list'),
        ({"tests": [-1]}, 'A day in "tests" is -1; the season lasts from 0 to 105'),
        ({"tests": [50, 106]}, 'A day in "tests" is 106'),
        ({"tests": [50, 20]}, 'In "tests" 20 comes after 50'),
        ({"tests": [True]}, 'A day in "tests" must be a number'),
    ],
)
def test_a_wrong_season_is_refused_and_the_rest_answered(change: dict[str, Any], says: str) -> None:
    status, [refused, answered] = run({**KNOWN, "id": "x", "season": {**SEASON, **change}}, KNOWN)
    assert status == 1
    assert list(refused) == ["id", "error"]
    assert refused["id"] == "x"
    assert says in refused["error"]
    assert answered["model"] == "known"


@pytest.mark.parametrize(
    ("known", "says"),
    [
        ({"shape": 0, "scale": 450}, '"shape" of "known" is 0'),
        ({"shape": 1.8, "scale": -1}, '"scale" of "known" is -1'),
        ({"shape": 1.8}, '"scale" of "known" must be a number'),
        ({"shape": "1.8", "scale": 450}, '"shape" of "known" must be a number'),
        ([1.8, 450], '"known" must be an object'),
    ],
)
def test_a_wrong_model_is_refused(known: Any, says: str) -> None:
    status, [refused] = run({**KNOWN, "known": known})
    assert status == 1
    assert says in refused["error"]


def test_a_season_is_an_object() -> None:
    status, [refused] = run({**KNOWN, "season": [105]})
    assert status == 1
    assert '"season" must be an object' in refused["error"]


positive = st.floats(0, 1e99, exclude_min=True)


@settings(max_examples=25)
@given(positive, positive, positive, st.lists(st.floats(0, 1e99), min_size=1, max_size=3), st.floats(0, 1))
@example(1e-10, 450, 105, [0], 0.5)
@example(1e-3, 450, 105, [0], 0.5)
def test_whatever_numbers_a_season_has_the_next_is_answered(
    shape: float, scale: float, days: float, ages: list[float], part: float
) -> None:
    season = {"days": days, "ages": ages, "tests": [days * part]}
    line = {"id": "x", "lives": [], "known": {"shape": shape, "scale": scale}, "season": season, "unavailability": 0.5}
    _, [answer, after] = run(line, KNOWN)
    assert "error" in answer or 0 <= answer["season_bad"] <= 1
    assert after["model"] == "known"
