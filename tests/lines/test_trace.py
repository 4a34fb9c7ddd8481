from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.lines.core.trace import FoundPart, LinePart, Listen, SwapPart, trace
from service.lines.trace_command import step_fields
from tests.lines.exhaustive import expected_and_worst, least_seconds, plans
from tests.support.examples import examples

Line = tuple[list[LinePart], dict[int, float]]

AMOUNTS = st.sampled_from((1.0, 2.0, 3.0, 7.5, 40.0)) | st.floats(0.01, 1000)


@st.composite
def dead_lines(draw: st.DrawFn, most: int) -> Line:
    parts = [
        LinePart(f"part {number}", draw(AMOUNTS), draw(AMOUNTS)) for number in range(1, draw(st.integers(1, most)) + 1)
    ]
    return parts, draw(st.dictionaries(st.integers(1, max(1, len(parts) - 1)), AMOUNTS)) if len(parts) > 1 else {}


@examples(40)
@given(dead_lines(most=4), st.just(inf) | AMOUNTS)
def test_no_plan_of_all_is_quicker(line: Line, bypass_s: float) -> None:
    """Every plan is done for every part that may be bad; the answer's own figures are those of doing it."""
    answer = trace(*line, bypass_s)
    least = min(expected_and_worst(plan, *line, bypass_s)[0] for plan in plans(*line, bypass_s))
    assert answer.expected_s == pytest.approx(float(least), rel=1e-12)
    expected, worst = expected_and_worst(step_fields(answer.first), *line, bypass_s)
    assert (answer.expected_s, answer.worst_s) == pytest.approx((float(expected), float(worst)), rel=1e-12)


@examples(25)
@given(dead_lines(most=6), st.just(inf) | AMOUNTS)
def test_up_to_six_parts_nothing_that_may_be_tried_is_quicker(line: Line, bypass_s: float) -> None:
    assert trace(*line, bypass_s).expected_s == pytest.approx(float(least_seconds(*line, bypass_s)), rel=1e-12)


@examples(25)
@given(dead_lines(most=10), st.just(inf) | AMOUNTS)
def test_the_figures_are_those_of_doing_the_plan(line: Line, bypass_s: float) -> None:
    answer = trace(*line, bypass_s)
    expected, worst = expected_and_worst(step_fields(answer.first), *line, bypass_s)
    assert (answer.expected_s, answer.worst_s) == pytest.approx((float(expected), float(worst)), rel=1e-12)


@examples(25)
@given(dead_lines(most=8), st.floats(0.01, 100), st.integers(-400, 100))
def test_units_change_nothing(line: Line, slower: float, exponent: int) -> None:
    """Seconds go in as they come out; weights count against each other only."""
    parts, listen_s = line
    scaled = [LinePart(part.name, part.weight * 2.0**exponent, part.swap_s * slower) for part in parts]
    answer = trace(scaled, {joint: seconds * slower for joint, seconds in listen_s.items()})
    assert answer.expected_s == pytest.approx(trace(parts, listen_s).expected_s * slower, rel=1e-12)


@pytest.mark.parametrize(("weights", "cost"), [((3, 2, 4, 1, 6), 36), ((8, 6, 2, 3, 4, 7, 11, 9, 8, 1, 3), 204)])
def test_listening_alone_is_the_optimal_alphabetic_tree(weights: tuple[int, ...], cost: int) -> None:
    """The sum of weight times depth, the least of all trees that keep the order.

    Gilbert and Moore 1959; Hu and Tucker 1971; Knuth, vol. 3, 6.2.2. Both cases are constructed, and found
    alike by dynamic programming over intervals and by Garsia and Wachs' algorithm; Huffman's trees cost 35 and 202.
    One swap takes so long that none is made before the part is found.
    """
    parts = [LinePart(str(number), weight, 1000) for number, weight in enumerate(weights)]
    answer = trace(parts, dict.fromkeys(range(1, len(parts)), 1.0))
    assert answer.expected_s - 1000 == pytest.approx(cost / sum(weights), rel=1e-9)


def test_swaps_alone_go_by_weight_over_cost() -> None:
    """Mitten 1960 (from memory: by the ratio of chance to cost). A constructed case: its optimum of all orders is 7.6;
    by weight alone it takes 8.6, by cost alone 8.95, at worst 12.2.
    """
    parts = [
        LinePart(*each) for each in (("a", 0.40, 6), ("b", 0.25, 2), ("c", 0.20, 3), ("d", 0.10, 1), ("e", 0.05, 4))
    ]
    answer = trace(parts, {})
    assert answer.expected_s == pytest.approx(7.6, rel=1e-12)
    assert answer.worst_s == 16
    order, step = [], answer.first
    while isinstance(step, SwapPart):
        order.append(step.part)
        step = step.dead
    assert isinstance(step, FoundPart)
    assert [*order, step.part][:2] == ["b", "d"]
    assert step.part == "e"


@examples(25)
@given(dead_lines(most=8))
def test_without_joints_the_order_is_that_of_weight_over_cost(line: Line) -> None:
    """Mitten 1960, the last part's swap included."""
    parts = sorted(line[0], key=lambda part: part.swap_s / part.weight)
    clock = total = 0.0
    for part in parts:
        clock += part.swap_s
        total += part.weight * clock
    assert trace(line[0], {}).expected_s == pytest.approx(total / sum(part.weight for part in parts), rel=1e-12)


def test_sixteen_parts_with_every_joint_are_answered() -> None:
    """Alike in weight and in listening, with swaps as slow: four halvings, then one swap."""
    answer = trace([LinePart(str(number), 1, 100) for number in range(16)], dict.fromkeys(range(1, 16), 1.0))
    assert (answer.expected_s, answer.worst_s) == (104, 104)
    assert isinstance(answer.first, Listen)
    assert answer.first.joint == 8


def test_weights_that_are_far_apart_are_weighed() -> None:
    answer = trace([LinePart("mic", 5e-324, 10), LinePart("K", 1e99, 20), LinePart("hub", 1e-300, 30)], {1: 1.0})
    assert answer.expected_s == 20
    assert isinstance(answer.first, SwapPart)
    assert answer.first.part == "K"
