"""How classes last, drawn: every line on the strip, together and alone, and the same in words and figures."""

import re

import pytest

from service.wear.axes import BOTTOM, LEFT, RIGHT, TOP
from service.wear.chart import LABEL, draw_together
from service.wear.core.classes import Fitted, fitted_to, in_order, steps_of, wears_otherwise
from service.wear.core.lives import Life
from service.wear.core.weibull import Weibull
from service.wear.curve import ClassShares, draw

LIVES = in_order([Life(0, 40, 2), Life(40, 80, 3), Life(80, 120, 5), Life(120, None, 60), Life(200, None, 20)])


def shares_of(lives: tuple[Life, ...] = LIVES, fitted: Fitted | None = None, plural: str = "cables") -> ClassShares:
    found = fitted or fitted_to(lives)
    assert found is not None
    return ClassShares(plural.title(), plural, found, steps_of(lives))


def points(path: str) -> list[tuple[float, float]]:
    assert re.fullmatch(r"([ML]\d+\.\d \d+\.\d)*z?", path), path
    return [(float(x), float(y)) for x, y in re.findall(r"(\d+\.\d) (\d+\.\d)", path)]


@pytest.mark.parametrize("season_days", [7, 91, 105, 400])
def test_every_line_stays_on_the_strip(season_days: int) -> None:
    curve = draw(shares_of(), season_days)
    for path in (curve.band, curve.edges, curve.fit, curve.steps, curve.between):
        assert points(path)
        assert all(LEFT <= x <= RIGHT and TOP <= y <= BOTTOM for x, y in points(path))
    assert len([tick for tick in curve.seasons if tick.words]) <= 6
    assert 2 <= len(curve.days) <= 6
    assert all(LEFT <= tick.at <= RIGHT for tick in [*curve.days, *curve.seasons])


def test_it_says_what_the_model_and_the_tests_say() -> None:
    model = Weibull(1, 1000, 0)
    curve = draw(shares_of(fitted=Fitted(model, (Weibull(1, 500, 0), Weibull(1, 2000, 0)))), 105)
    assert curve.sentences == [
        "Of 100 such cables about 90 last through a season (105 days in service), likely 81 to 95."
    ]
    rows = {row.use: (row.model, row.by_tests) for row in curve.figures}
    least, most = steps_of(LIVES).survival(100)
    assert rows["105 days, a season"] == ("90 (81 to 95)", f"{round(100 * least)} to {round(100 * most)}")
    assert rows["150 days"] == ("86 (74 to 93)", str(round(100 * steps_of(LIVES).survival(150)[0])))
    longer = draw(shares_of(fitted=Fitted(model, (model,)), plural="hubs"), 90)
    assert longer.sentences[1] == "About 84 last through two seasons, likely 84."


def test_the_picture_ends_where_the_data_end() -> None:
    """No test knows of more than 200 days: the season of 250 is told, as the model's word alone, and not drawn."""
    curve = draw(shares_of(), 250)
    assert curve.sentences[-1] == (
        "None was in service for longer than 200 days so far: what is said beyond is the model's word alone, and not "
        "drawn."
    )
    assert curve.seasons == []
    assert max(x for x, _ in points(curve.fit)) == RIGHT
    assert all(int(row.use.split()[0]) <= 200 for row in curve.figures)


def test_the_steps_do_not_fall_to_the_ground_because_the_longest_used_item_failed() -> None:
    lives = in_order([Life(0, 40, 2), Life(120, None, 30), Life(160, 200)])
    steps = steps_of(lives)
    assert steps.survival(200) == (0, 0)  # Turnbull's estimate has nobody left
    curve = draw(shares_of(lives, Fitted(Weibull(1.5, 900, 0), (Weibull(1.5, 900, 0),))), 91)
    assert curve.shares[-1].words == "90 %"
    assert max(y for _, y in points(curve.steps + curve.between)) < BOTTOM
    assert max(x for x, _ in points(curve.steps)) == pytest.approx(LEFT + (RIGHT - LEFT) * 160 / 200, abs=0.1)
    assert [row.by_tests for row in curve.figures if row.use.startswith("200 days")] == ["not known yet"]


def test_steps_after_which_some_are_good_are_drawn_down() -> None:
    lives = in_order([Life(day, day + 30, 1 + day // 40) for day in range(0, 270, 30)] + [Life(300, None)])
    curve = draw(shares_of(lives), 91)
    assert curve.shares[-1].words == "0 %"
    assert points(curve.between)[-1][1] == pytest.approx(TOP + (BOTTOM - TOP) * (1 - 1 / 34), abs=0.1)  # one of 34


def test_nearly_all_is_not_said_to_be_all() -> None:
    safe = Weibull(1, 40_000, 0)
    curve = draw(shares_of((Life(300, None, 9),), Fitted(safe, (safe,))), 100)
    assert "about 99.7 last through a season" in curve.sentences[0]
    assert curve.shares[-1].words == "90 %"
    assert curve.figures[-1].by_tests == "100"


def test_equal_classes_stand_in_one_picture_and_their_letters_apart() -> None:
    classes = {letter: shares_of() for letter in "ABCDEFG"}
    picture = draw_together("Cables", classes, {"B"}, 91)
    places = [line.at for line in picture.lines]
    assert [line.letter for line in picture.lines if line.differs] == ["B"]
    for number, (x, y) in enumerate(places):
        assert LEFT <= x <= RIGHT - LABEL + 5
        assert TOP <= y <= BOTTOM
        for other in places[:number]:
            assert abs(other[0] - x) >= LABEL or abs(other[1] - y) >= LABEL - 1e-9
    assert all(len(row) == 7 for _, row in picture.figures)


def test_a_class_ends_in_a_picture_with_its_own_data() -> None:
    short = shares_of(in_order([Life(0, 40, 2), Life(40, 60, 3), Life(60, None, 20)]))
    picture = draw_together("Cables", {"A": shares_of(), "B": short}, (), 91)
    ends = [max(x for x, _ in points(line.fit)) for line in picture.lines]
    assert ends[1] == pytest.approx(LEFT + (ends[0] - LEFT) * 60 / 200, abs=0.1)
    assert dict(picture.figures)["100 days"][1] == "not known yet"


def test_only_a_class_that_wears_otherwise_stands_by_itself() -> None:
    alike = [Life(30 * number, 30 * number + 30, 3) for number in range(4)] + [Life(150, None, 60)]
    worse = [Life(30 * number, 30 * number + 30, 9) for number in range(4)] + [Life(150, None, 20)]
    one, other = ("cable", "XLR"), ("cable", "TRS")
    assert not wears_otherwise(one, {one: alike, other: alike})
    assert wears_otherwise(one, {one: worse, other: alike})
    assert not wears_otherwise(one, {one: worse, other: [Life(0, 30, 4), Life(150, None, 90)]})  # too few failures
    assert not wears_otherwise(one[:1], {one: worse, other: alike})  # the kind itself
