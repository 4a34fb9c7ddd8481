"""Chances in percent: what is not certain is never told as certain, nor one chance as another beside it."""

import re

from hypothesis import given
from hypothesis import strategies as st

from service.kit.quantities import format_chance, format_share

chances = st.floats(0, 1)


@given(chances)
def test_only_what_is_certain_is_told_so(chance: float) -> None:
    assert (format_chance(chance) == "100 %") == (chance == 1)
    assert (format_chance(chance) == "0 %") == (chance == 0)


@given(chances, chances)
def test_a_figure_is_near_the_chance(chance: float, beside: float) -> None:
    figure = re.fullmatch(r"(under |over )?(\d+)(\.\d)? %", format_chance(chance, beside))
    assert figure is not None
    bound, whole, tenths = figure.groups()
    assert abs(100 * chance - float(whole + (tenths or ""))) <= (0.1 + 1e-6 if bound or tenths else 0.5 + 1e-6)


@given(chances, chances)
def test_chances_in_one_sentence_are_told_alike_and_apart(one: float, other: float) -> None:
    """With as many digits, and with one figure for both only where both would round to it in tenths."""
    figures = [format_chance(one, other), format_chance(other, one)]
    certain = {"0 %", "100 %"}
    assert len({"." in figure for figure in figures if figure not in certain}) <= 1
    if figures[0] == figures[1]:
        assert abs(one - other) <= 0.001 + 1e-9
        assert "." in figures[0] or abs(one - other) <= 1e-9


@given(st.integers(1, 99), st.floats(-0.005, 0.005), chances)
def test_a_limit_in_whole_percent_is_never_the_figure_of_another_chance(limit: int, away: float, beside: float) -> None:
    chance = limit / 100 + away
    figure = format_chance(chance, limit=limit / 100)
    assert (figure == f"{limit} %") == (abs(away) <= 1e-9)
    for said in (figure, format_chance(chance, beside, limit=limit / 100)):
        number = float(said.removesuffix(" %").removeprefix("under ").removeprefix("over "))
        assert said.startswith("under") or (number > limit) == (away > 1e-9)
        assert (number < limit) == (away < -1e-9)


def test_counts_of_1000_never_look_like_the_target_that_they_miss() -> None:
    shares = (0.00001, 0.0004, 0.0097, 0.01, 0.01001, 0.0958)
    counts = [format_share(share, limit=0.01, of=1000) for share in shares]
    assert counts == ["under 0.1", "0.4", "9.7", "10", "10.1", "96"]
