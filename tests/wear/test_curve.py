"""How a class lasts, drawn: every line on the strip, and the same in words and figures."""

import re

import pytest

from service.wear.core.classes import Fitted, fitted_to, in_order, steps_of
from service.wear.core.lives import Life
from service.wear.core.weibull import Weibull
from service.wear.curve import BOTTOM, LEFT, RIGHT, TOP, draw

LIVES = in_order([Life(0, 40, 2), Life(40, 80, 3), Life(80, 120, 5), Life(120, None, 60), Life(200, None, 20)])


def fitted(lives: tuple[Life, ...] = LIVES) -> Fitted:
    found = fitted_to(lives)
    assert found is not None
    return found


@pytest.mark.parametrize("season_days", [7, 91, 105, 400])
def test_every_line_stays_on_the_strip(season_days: int) -> None:
    curve = draw("Cables", "cables", fitted(), steps_of(LIVES), season_days)
    for path in (curve.band, curve.edges, curve.fit, curve.steps, curve.between):
        assert re.fullmatch(r"([ML]\d+\.\d \d+\.\d)+z?", path), path
        for x, y in re.findall(r"(\d+\.\d) (\d+\.\d)", path):
            assert LEFT <= float(x) <= RIGHT
            assert TOP <= float(y) <= BOTTOM
    assert 1 <= len([tick for tick in curve.seasons if tick.words]) <= 6 or season_days > 200
    assert 2 <= len(curve.days) <= 6
    ticks = [*curve.days, *curve.seasons]
    assert all(LEFT <= tick.at <= RIGHT for tick in ticks)


def test_it_says_what_the_model_and_the_tests_say() -> None:
    model = Weibull(1, 1000, 0)
    curve = draw("Cables", "cables", Fitted(model, (Weibull(1, 500, 0), Weibull(1, 2000, 0))), steps_of(LIVES), 105)
    assert curve.sentences == [
        "Of 100 such cables about 90 live through a season (105 days in service); 81 to 95 is plausible."
    ]
    rows = {row.use: (row.model, row.by_tests) for row in curve.figures}
    least, most = steps_of(LIVES).survival(100)
    assert rows["105 days, a season"] == ("90 (81 to 95)", f"{round(100 * least)} to {round(100 * most)}")
    assert rows["150 days"] == ("86 (74 to 93)", str(round(100 * steps_of(LIVES).survival(150)[0])))
    longer = draw("Hubs", "hubs", Fitted(model, (model,)), steps_of(LIVES), 90)
    assert longer.sentences[1] == "About 84 live through two seasons."


def test_use_that_nobody_has_seen_is_the_models_word_alone() -> None:
    curve = draw("Cables", "cables", fitted(), steps_of(LIVES), 250)
    assert curve.sentences[-1] == (
        "None was in service for longer than 200 days so far: the rest is the model's word alone."
    )
    assert {row.by_tests for row in curve.figures if row.use.startswith("250 days")} == {"not known yet"}


def test_nearly_all_is_not_said_to_be_all() -> None:
    safe = Weibull(1, 40_000, 0)
    curve = draw("Cables", "cables", Fitted(safe, (safe,)), steps_of((Life(300, None, 9),)), 100)
    assert "about 99 live through a season" in curve.sentences[0]
    assert curve.shares[-1].words == "90 %"
    assert curve.figures[-1].by_tests == "100"


def test_a_class_of_which_none_is_left_is_drawn_to_the_ground() -> None:
    lives = in_order([Life(day, day + 30, 1 + day // 40) for day in range(0, 270, 30)])
    steps = steps_of(lives)
    curve = draw("Cables", "cables", fitted(lives), steps, 91)
    assert curve.shares[-1].words == "0 %"
