"""What pooling says of an item: its model by another way, and what must hold for any program."""

import math
from dataclasses import replace
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from service.wear.core.classes import Path
from service.wear.core.grid import LOG_SCALES, SCALE_STEP, Floats, spread
from service.wear.core.lives import Life
from service.wear.core.pooling import (
    CLASS_WIDTHS,
    GEAR_SHAPE,
    GEAR_WIDTHS,
    ITEM_WIDTHS,
    PROGRAM_SHAPES,
    SHAPE_PART,
    UNUSUAL,
    UNUSUAL_SCALES,
    USUAL,
    PooledItem,
    bad_at_event,
)

CABLE, HUB = ("cable", "cable xlr3"), ("hub",)
LOT_1, LOT_2 = (*CABLE, "lot 1"), (*CABLE, "lot 2")


def item(path: tuple[str, ...], *past: Life, passed: float = 60, ahead: float = 30) -> PooledItem:
    return PooledItem(path, (*past, Life(passed, None)), passed, passed + ahead)


days = st.integers(1, 300).map(float)
past_lives = st.lists(
    st.one_of(
        st.builds(lambda t: Life(t, None), days),
        st.builds(lambda t, more: Life(t, t + more), days, days),
        st.builds(lambda t: Life(t, t), days),
    ),
    max_size=3,
)
items = st.builds(
    lambda path, past, passed, ahead: item(path, *past, passed=passed, ahead=ahead),
    st.sampled_from([CABLE, LOT_1, LOT_2, HUB]),
    past_lives,
    st.integers(0, 300).map(float),
    st.integers(0, 100).map(float),
)


def by_drawing(program: list[PooledItem], draws: int) -> list[tuple[float, float]]:
    """The chances and their standard errors: models drawn from the priors and the steps, weighed by the lives."""
    random = np.random.default_rng(1)

    def width(of: dict[float, float]) -> Floats:
        return random.choice(list(of), draws, p=list(of.values()))

    def step(widths: Floats | float) -> Floats:
        return widths * random.normal(size=draws)

    of_class, of_item = width(CLASS_WIDTHS), width(ITEM_WIDTHS)
    usual_shape, usual_scale = np.log(USUAL)
    least, most = np.log(UNUSUAL_SCALES)
    middle = np.where(random.random(draws) < UNUSUAL, random.uniform(least, most, draws), usual_scale)
    at: dict[Path, tuple[Floats, Floats]] = {(): (usual_shape + step(width(PROGRAM_SHAPES)), middle)}
    for path in sorted({one.path[:length] for one in program for length in range(1, len(one.path) + 1)}, key=len):
        shape, scale = at[path[:-1]]
        if len(path) > 1:
            at[path] = shape + step(SHAPE_PART * of_class), scale + step(of_class)
        else:
            at[path] = shape + step(GEAR_SHAPE), scale + step(width(GEAR_WIDTHS))
    log_weight, fails = np.zeros(draws), []
    for one in program:
        shape = np.exp(at[one.path][0])
        scale = np.exp(at[one.path][1] + of_item * random.normal(size=draws))
        for life in one.lives:
            log_weight -= (life.lower / scale) ** shape
            if life.upper is not None:
                log_weight += np.log(-np.expm1((life.lower / scale) ** shape - (life.upper / scale) ** shape))
        fails.append(-np.expm1((one.passed / scale) ** shape - (one.event / scale) ** shape))
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    means = [float(weight @ each) for each in fails]
    return [(mean, math.sqrt(float(weight**2 @ (each - mean) ** 2))) for mean, each in zip(means, fails, strict=True)]


@pytest.mark.parametrize(
    "program",
    [
        [item(CABLE)],
        [item(LOT_1, Life(20, 60), Life(10, 45)), item(LOT_1, passed=120), item(LOT_2, passed=200), item(HUB)],
        [item(LOT_1, Life(90, 130)), item(LOT_2, Life(40, None), Life(0, 50)), item(HUB, Life(100, 160), passed=0)],
    ],
)
def test_chances_agree_with_models_drawn_at_random(program: list[PooledItem]) -> None:
    """150,000 draws; within 5 standard errors and what the steps of the grid cost, seeded."""
    for said, (mean, error) in zip(bad_at_event(program), by_drawing(program, 150_000), strict=True):
        assert said == pytest.approx(mean, abs=5 * error + 0.02 * mean)


@pytest.mark.parametrize("deviation", [0.02, 0.06, 0.2, 0.7])
def test_a_spread_has_its_deviation(deviation: float) -> None:
    carried = spread({deviation: 1.0}, SCALE_STEP, len(LOG_SCALES))
    middle = len(LOG_SCALES) // 2
    apart = LOG_SCALES - LOG_SCALES[middle]
    assert carried.sum(axis=1) == pytest.approx(np.ones(len(LOG_SCALES)))
    assert carried[middle] @ apart**2 == pytest.approx(deviation**2, rel=1e-5)
    if deviation > 2 * SCALE_STEP:
        assert carried[middle] == pytest.approx(SCALE_STEP * norm.pdf(apart, scale=deviation), abs=2e-3)


@settings(max_examples=8, deadline=None)
@given(st.lists(items, min_size=1, max_size=8), st.randoms())
def test_the_order_of_items_does_not_matter(program: list[PooledItem], random: Random) -> None:
    order = list(range(len(program)))
    random.shuffle(order)
    said, shuffled = bad_at_event(program), bad_at_event([program[i] for i in order])
    assert bad_at_event(program) == said
    assert shuffled == pytest.approx([said[i] for i in order], rel=1e-9)
    assert all(0 <= chance <= 1 for chance in said)
    assert all((chance == 0) == (one.event == one.passed) for one, chance in zip(program, said, strict=True))


@settings(max_examples=6, deadline=None)
@given(st.lists(items, min_size=1, max_size=5), st.integers(1, 100))
def test_a_later_event_is_riskier_and_changes_no_other_item(program: list[PooledItem], later: int) -> None:
    first, *others = bad_at_event(program)
    longer, *same = bad_at_event([replace(program[0], event=program[0].event + later), *program[1:]])
    assert longer > first
    assert same == pytest.approx(others, rel=1e-9)


@settings(max_examples=6, deadline=None)
@given(st.lists(items, max_size=4), st.integers(60, 200))
def test_a_failure_raises_the_risk_most_for_the_item_then_for_its_class(others: list[PooledItem], day: int) -> None:
    """Against a life that was as long and did not fail."""

    def said(life: Life) -> list[float]:
        program = [item(LOT_1, life), item(LOT_1), item(LOT_2), *others]
        return bad_at_event(program)[:3]

    ratios = [bad / good for bad, good in zip(said(Life(0, day)), said(Life(day, None)), strict=True)]
    assert ratios[0] > ratios[1] > ratios[2] > 1


def test_where_wear_grows_old_items_are_riskier() -> None:
    worn = [item(LOT_1, Life(180, 200), passed=passed) for passed in (20, 60, 100, 140, 160)] * 3
    assert bad_at_event(worn)[:5] == sorted(bad_at_event(worn)[:5])


def test_without_a_failure_every_item_has_a_chance_that_shrinks_as_items_last() -> None:
    """A single new item has what the priors alone say."""
    [unknown], short, long = bad_at_event([item(HUB, passed=0)]), [item(HUB)] * 9, [item(HUB, passed=200)] * 9
    fresh = item(HUB, passed=0)
    assert unknown == pytest.approx(by_drawing([fresh], 150_000)[0][0], rel=0.02)
    assert unknown > bad_at_event([fresh, *short])[0] > bad_at_event([fresh, *long])[0] > 0


def test_a_narrow_class_of_many_speaks_for_itself_and_one_of_few_does_not() -> None:
    """A lot whose every life ends by day 60, in a class where none does before day 200."""
    good = [item(LOT_2, passed=200)] * 30
    of_many = bad_at_event([item(LOT_1, Life(0, 60), passed=20)] * 20 + good)[0]
    of_one = bad_at_event([item(LOT_1, passed=20), item(LOT_1, Life(0, 60), passed=20), *good])[0]
    of_none = bad_at_event([item(LOT_1, passed=20), *good])[0]
    assert of_many > 3 * of_one
    assert of_one > 1.5 * of_none


numbers = st.floats(0, 1e99) | st.sampled_from([0.0, 5e-324, 1e-300, 1e99])
counts = st.sampled_from([1, 7, 10**6, 10**50])
any_past = st.lists(
    st.tuples(numbers, numbers, counts).map(lambda of: Life(min(of[:2]), max(of[:2]) or 1.0, of[2]))
    | st.tuples(numbers, counts).map(lambda of: Life(of[0], None, of[1])),
    max_size=3,
)


@settings(max_examples=12, deadline=None)
@given(st.lists(st.tuples(any_past, numbers, numbers), min_size=1, max_size=3))
def test_any_ages_have_an_answer(program: list[tuple[list[Life], float, float]]) -> None:
    said = bad_at_event(
        [PooledItem(LOT_1, (*past, Life(min(ages), None)), min(ages), max(ages)) for past, *ages in program]
    )
    assert all(0 <= chance <= 1 for chance in said)


def test_a_program_without_items_has_no_chances() -> None:
    assert bad_at_event([]) == []
