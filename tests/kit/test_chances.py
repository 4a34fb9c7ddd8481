"""Chances in percent: what is not certain is never told as certain, nor one chance as another beside it."""

import re

from hypothesis import given
from hypothesis import strategies as st

from service.kit.quantities import format_chance

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


@given(st.integers(1, 99), st.floats(-0.005, 0.005))
def test_a_limit_in_whole_percent_is_never_the_figure_of_another_chance(limit: int, away: float) -> None:
    told = format_chance(limit / 100 + away, limit / 100)
    assert (told == f"{limit} %") == (abs(away) <= 1e-9)
