"""How much of a season items are bad while nobody knows: closed forms, a simulation, and what must hold of any."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from service.wear.core.undetected import bad_days, season_bad
from service.wear.core.weibull import Weibull

ages = st.lists(st.floats(0, 900), min_size=1, max_size=4)
tests = st.lists(st.floats(0, 105), max_size=4)
shapes, scales = st.floats(0.3, 8), st.floats(60, 2000)


@pytest.mark.parametrize("rate", [0.001, 0.01, 0.5])
@pytest.mark.parametrize("days", [[], [60.0], [26.25, 78.75], [10.0, 20.0, 21.0, 90.0]])
def test_at_a_constant_rate_only_the_days_since_the_last_test_count(rate: float, days: list[float]) -> None:
    """A repaired item is as one that passed: each stretch of w days is bad for w - (1 - exp(-r w))/r on average."""
    stretches = [end - begin for begin, end in pairwise([0.0, *days, 105.0])]
    expected = math.fsum(w + math.expm1(-rate * w) / rate for w in stretches) / 105
    assert season_bad(Weibull(1, 1 / rate, 0), 105, [0, 50, 700], days) == pytest.approx(expected, abs=1e-9)


@settings(max_examples=20)
@given(shapes, scales)
def test_new_items_that_nobody_tests_are_bad_as_the_interval_reckons(shape: float, scale: float) -> None:
    model = Weibull(shape, scale, 0)
    assert season_bad(model, 105, [0], []) == pytest.approx(model.unavailability(105), abs=1e-9)


@settings(max_examples=20)
@given(shapes, scales, st.floats(0, 900), st.floats(1, 104))
@example(6, 60, 255, 86)  # fails within minutes, which an integral over 86 days does not see
def test_one_test_agrees_with_integrals_by_another_way(shape: float, scale: float, age: float, test: float) -> None:
    """Both stretches of the life that there is, and the stretch of the one that the test begins, term by term."""

    def good(days: float) -> float:
        return math.exp((age / scale) ** shape - ((age + days) / scale) ** shape)

    def bad(days: float) -> float:
        repaired = (1 - good(test)) * -math.expm1(-(((days - test) / scale) ** shape)) if days > test else 0.0
        return repaired + (good(test) if days > test else 1) - good(days)

    def of_life(exponent: float) -> float:
        """The day by which `exponent` more of the hazard is over: old items of a steep shape fail within an hour."""
        return float(scale * ((age / scale) ** shape + exponent) ** (1 / shape) - age)

    stretches = pairwise(sorted({0, test, 105, *(min(of_life(exponent), 105) for exponent in (0.1, 1, 5, 40))}))
    sums = [quad(bad, a, b, epsabs=1e-9, limit=200)[0] for a, b in stretches]
    assert season_bad(Weibull(shape, scale, 0), 105, [age], [test]) == pytest.approx(math.fsum(sums) / 105, abs=1e-7)


@pytest.mark.parametrize(
    ("model", "days"),
    [(Weibull(1.8, 450, 0), [26.25, 78.75]), (Weibull(0.5, 50, 0), [10, 50, 90]), (Weibull(6, 60, 0), [30, 60, 100])],
)
def test_simulated_items_are_bad_for_so_long(model: Weibull, days: list[float]) -> None:
    """200,000 items of each age, failing and repaired over and over; within 5 standard errors, seeded."""
    random, count, per_age = np.random.default_rng(1), 200_000, []
    starts = [0.0, 105.0, 210.0]
    for age in starts:
        spared = random.exponential(size=count) + (age / model.scale) ** model.shape
        fails = model.scale * spared ** (1 / model.shape) - age
        bad = np.zeros(count)
        for test in [*days, 105]:
            down = fails <= test
            bad[down] += test - fails[down]
            fails[down] = test + model.scale * random.exponential(size=down.sum()) ** (1 / model.shape)
        per_age.append(bad / 105)
    error = math.sqrt(sum(each.var() / count for each in per_age)) / 3
    assert season_bad(model, 105, starts, days) == pytest.approx(np.mean(per_age), abs=5 * error)


@settings(max_examples=20)
@given(shapes, scales, ages, tests, st.floats(1e-3, 1e3))
def test_the_unit_of_time_does_not_matter(
    shape: float, scale: float, starts: list[float], days: list[float], unit: float
) -> None:
    same = season_bad(Weibull(shape, scale, 0), 105, starts, days)
    other = season_bad(
        Weibull(shape, scale * unit, 0), 105 * unit, [a * unit for a in starts], [min(t, 105) * unit for t in days]
    )
    assert 0 <= same <= 1
    assert other == pytest.approx(same, abs=1e-8)


@settings(max_examples=20)
@given(shapes, scales, ages, tests)
def test_order_and_tests_that_tell_nothing_change_nothing(
    shape: float, scale: float, starts: list[float], days: list[float]
) -> None:
    model = Weibull(shape, scale, 0)
    same = season_bad(model, 105, starts, days)
    assert season_bad(model, 105, starts[::-1], days[::-1]) == pytest.approx(same, abs=1e-12)
    assert season_bad(model, 105, starts, [0, *days, *days, 105]) == same


@settings(max_examples=20)
@given(st.floats(0.3, 1) | st.floats(1, 8), scales, st.floats(0, 500), st.floats(0, 500))
def test_where_wear_grows_old_items_are_bad_for_longer(shape: float, scale: float, age: float, older: float) -> None:
    model = Weibull(shape, scale, 0)
    young, old = season_bad(model, 105, [age], []), season_bad(model, 105, [age + older], [])
    assert (old >= young - 1e-9) if shape >= 1 else (old <= young + 1e-9)


@settings(max_examples=20)
@given(st.floats(1e-3, 1e12), st.floats(1e-99, 1e99), st.floats(1e-3, 1e99), st.lists(st.floats(0, 1e99), min_size=1))
@example(1e11, 100.0, 105.0, [0.0, 99.9])
@example(0.02, 450.0, 105.0, [0.0, 3.0])
def test_any_numbers_have_an_answer(shape: float, scale: float, days: float, starts: list[float]) -> None:
    assert 0 <= season_bad(Weibull(shape, scale, 0), days, starts[:3], [days / 3, days / 2]) <= 1


@settings(max_examples=20)
@given(shapes, scales, st.floats(0, 400), st.floats(0, 60))
def test_what_passed_some_days_ago_may_be_bad_from_the_first_day(
    shape: float, scale: float, passed: float, since: float
) -> None:
    """As if the days since the last pass were a stretch of its own."""
    model, at = Weibull(shape, scale, 0), np.array([passed])
    [found] = bad_days(model, at, at + since, [0, 40, 105], [40])
    assert found[0] + bad_days(model, at, at, [0, since], [])[0, 0] == pytest.approx(
        bad_days(model, at, at, [0, since + 40], [])[0, 0], abs=1e-6
    )
    assert found[1] == pytest.approx(
        bad_days(model, at, at, [0, since + 40, since + 105], [since + 40])[0, 1], abs=1e-6
    )


def test_a_fleet_of_new_items_grows_old() -> None:
    """105 days in two rounds, shape 2.4, scale 300: 16 in 1,000 are bad in the first season, and 96 in the third."""
    new = np.array([0.0])
    closes = [52.5 * number for number in range(7)]
    [found] = bad_days(Weibull(2.4, 300, 0), new, new, closes, closes)
    per_mille = 1000 * found.reshape(3, 2).sum(axis=1) / 105
    assert per_mille == pytest.approx([15.6, 65.8, 95.9], abs=0.05)


@settings(max_examples=20)
@given(shapes, scales, st.floats(0, 400), st.floats(1, 59), st.floats(61, 104))
def test_an_edge_without_a_test_only_parts_what_is_summed(
    shape: float, scale: float, age: float, before: float, after: float
) -> None:
    model, at = Weibull(shape, scale, 0), np.array([age])
    [whole] = bad_days(model, at, at, [0, 60, 105], [60])
    [parted] = bad_days(model, at, at, [0, before, 60, after, 105], [60])
    assert [parted[0] + parted[1], parted[2] + parted[3]] == pytest.approx(whole, abs=1e-6)
