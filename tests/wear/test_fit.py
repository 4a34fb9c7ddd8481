"""Weibull fits against published ones, a reference library, and what must hold for any lives."""

import math
from random import Random

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from service.kit.problems import Invalid
from service.wear.core.fit import NoModel, fit
from service.wear.core.lives import Life
from service.wear.core.weibull import Weibull
from tests.support.examples import examples
from tests.wear.exact import likeliest_near

# NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.1.3: 20 units, ten still good at 500 hours.
NIST = [*(Life(t, t) for t in (54, 187, 216, 240, 244, 335, 361, 373, 375, 386)), Life(500, None, 10)]

# Finkelstein and Wolfe, Biometrics 41 (1985): months to breast retraction, found between two visits.
RADIOTHERAPY = """
45- 6-10 0-7 46- 46- 7-16 17- 7-14 37-44 0-8 4-11 15- 11-15 22- 46- 46- 25-37 46- 26-40 46- 27-34 36-44
46- 36-48 37- 40- 17-25 46- 11-18 38- 5-12 37- 0-5 18- 24- 36- 5-11 19-35 17-25 24- 32- 33- 19-26 37- 34- 36-"""
WITH_CHEMOTHERAPY = """
8-12 0-22 24-31 17-27 17-23 24-30 16-24 13- 11-13 16-20 18-25 17-26 32- 23- 44-48 14-17 0-5 5-8
12-20 11- 33-40 31- 13-39 19-32 34- 13- 16-24 35- 15-22 11-17 22-32 10-35 30-34 13- 10-17 8-21 4-9 11- 14-19 4-8
34- 30-36 18-24 16-60 35-39 21- 11-20 48-"""


def visits(text: str) -> list[Life]:
    pairs = [word.split("-") for word in text.split()]
    return [Life(float(lower), float(upper) if upper else None) for lower, upper in pairs]


def fitted(lives: list[Life]) -> Weibull:
    model = fit(lives)
    assert isinstance(model, Weibull), model
    return model


def test_the_handbooks_example_of_exact_failures() -> None:
    model = fitted(NIST)
    assert model.scale == pytest.approx(606.5280, abs=0.001)
    assert model.shape == pytest.approx(1.7208, abs=0.0001)
    assert model.log_likelihood == pytest.approx(-75.135, abs=0.001)
    mean = model.scale * math.gamma(1 + 1 / model.shape)
    assert mean == pytest.approx(540.737, abs=0.001)


@pytest.mark.parametrize(
    ("rows", "count", "shape", "scale", "log_likelihood"),
    [
        (RADIOTHERAPY, 46, 1.121613, 57.5131, -64.731471),
        (WITH_CHEMOTHERAPY, 48, 2.030238, 28.04247, -75.715068),
    ],
)
def test_the_classic_interval_censored_study(
    rows: str, count: int, shape: float, scale: float, log_likelihood: float
) -> None:
    """Fitted values by lifelines 0.30 and, independently, by direct maximization with scipy."""
    model = fitted(visits(rows))
    assert len(visits(rows)) == count
    assert model.shape == pytest.approx(shape, rel=1e-6)
    assert model.scale == pytest.approx(scale, rel=1e-6)
    assert model.log_likelihood == pytest.approx(log_likelihood, abs=1e-6)


def test_the_diabetes_data_of_lifelines() -> None:
    """731 rows; scale 18.8565, shape 2.82349, log-likelihood -2028.566 by `WeibullFitter.fit_interval_censoring`."""
    from lifelines.datasets import load_diabetes  # here, since it takes two seconds to import

    rows = load_diabetes()
    lives = [Life(left, right if right < math.inf else None) for left, right in zip(rows.left, rows.right, strict=True)]
    model = fitted(lives)
    assert (model.scale, model.shape) == pytest.approx((18.8565, 2.82349), rel=1e-5)
    assert model.log_likelihood == pytest.approx(-2028.566, abs=1e-3)


@pytest.mark.parametrize("seed", range(5))
def test_it_agrees_with_lifelines_on_tests_at_random_times(seed: int) -> None:
    from lifelines import WeibullFitter  # here, since it takes two seconds to import

    random = Random(seed)
    lives = simulated(random, shape=random.uniform(0.6, 4), scale=random.uniform(20, 200), items=300)
    ours = fitted(lives)
    reference = WeibullFitter().fit_interval_censoring(
        [life.lower for life in lives], [math.inf if life.upper is None else life.upper for life in lives]
    )
    assert ours.shape == pytest.approx(reference.rho_, rel=1e-3)
    assert ours.scale == pytest.approx(reference.lambda_, rel=1e-3)
    assert ours.log_likelihood == pytest.approx(reference.log_likelihood_, abs=1e-4)
    assert ours.log_likelihood >= reference.log_likelihood_ - 1e-7


def simulated(random: Random, shape: float, scale: float, items: int) -> list[Life]:
    """Items tested every so often until they fail or the program runs out of seasons."""
    lives = []
    for _ in range(items):
        failure, every, until = (
            random.weibullvariate(scale, shape),
            random.uniform(5, 40),
            random.uniform(50, 200),
        )
        if failure > until:
            lives.append(Life(until, None))
        else:
            lives.append(Life(every * (failure // every), every * (failure // every + 1)))
    return lives


def log_likelihood(lives: list[Life], shape: float, scale: float) -> float:
    """The definition, term by term, in plain floats; minus infinity where they give out."""

    def survival(time: float) -> float:
        return math.exp(-((time / scale) ** shape))

    def term(life: Life) -> float:
        if life.upper is None:
            return -math.pow(life.lower / scale, shape)
        if life.upper == life.lower:
            t = life.upper / scale
            return math.log(shape / scale) + (shape - 1) * math.log(t) - math.pow(t, shape)
        return math.log(survival(life.lower) - survival(life.upper))

    try:
        return math.fsum(life.count * term(life) for life in lives)
    except (ValueError, OverflowError):
        return -math.inf


times = st.integers(1, 40).map(float)
lives = st.lists(
    st.one_of(
        st.builds(Life, times, st.none(), st.integers(1, 3)),
        st.builds(lambda t, n: Life(t, t, n), times, st.integers(1, 3)),
        st.builds(lambda t, n: Life(0, t, n), times, st.integers(1, 3)),
        st.builds(lambda t, more, n: Life(t, t + more, n), times, times, st.integers(1, 3)),
    ),
    max_size=12,
)


@examples(100)
@given(lives)
def test_no_model_nearby_or_far_is_likelier(some: list[Life]) -> None:
    model = fit(some)
    assume(isinstance(model, Weibull))
    assert isinstance(model, Weibull)
    best = log_likelihood(some, model.shape, model.scale)
    assume(best > -math.inf)
    assert model.log_likelihood == pytest.approx(best, abs=1e-5)
    for shape in (0.2, 0.5, 0.9, 0.999, 1, 1.001, 1.1, 2, 5):
        for scale in (0.2, 0.5, 0.9, 0.999, 1, 1.001, 1.1, 2, 5):
            assert log_likelihood(some, model.shape * shape, model.scale * scale) <= best + 1e-9


far_apart = st.sampled_from([1, 1, 2, 20, 15_000, 10**12])
steps = st.integers(-12, 9).map(lambda exponent: 60 * (1 + 10.0**exponent))
any_times = times | steps | st.floats(0.01, 1000)
uneven_lives = st.lists(
    st.one_of(
        st.builds(Life, any_times, st.none(), far_apart),
        st.builds(lambda t, n: Life(t, t, n), any_times, far_apart),
        st.builds(lambda t, n: Life(0, t, n), any_times, far_apart),
        st.builds(lambda t, u, n: Life(min(t, u), max(t, u), n), any_times, any_times, far_apart),
    ),
    min_size=2,
    max_size=6,
)


@examples(60)
@given(uneven_lives)
@example([Life(62, None, 20), Life(4, 91, 20), Life(82, None, 2000), Life(27, 73)])
@example([Life(38, 63), Life(45, 111, 200), Life(91, 226, 15000)])
@example([Life(26.4, 210.493, 10**12), Life(225.3155363368, None)])
@example([Life(2, None, 10**12), Life(1, 1), Life(0, 2, 10**12)])
def test_counts_far_apart_and_times_close_together_have_their_maximum(some: list[Life]) -> None:
    model = fit(some)
    if isinstance(model, NoModel):
        return
    assume(model.shape < 1e9)  # steeper ones hang on the last digit of their scale
    reference = likeliest_near(some, model.shape, model.scale)
    assert reference is not None
    assert (model.shape, model.scale) == pytest.approx(reference[:2], rel=1e-6)
    assert model.log_likelihood == pytest.approx(reference[2], abs=1e-5, rel=1e-12)


@st.composite
def around_one_moment(draw: st.DrawFn) -> tuple[float, list[Life]]:
    moment = draw(times)
    before, after = st.floats(0, moment), st.floats(moment, 100)
    failures = draw(st.lists(st.builds(Life, before, after, st.integers(1, 3)), min_size=2, max_size=6))
    good = draw(st.lists(st.builds(Life, before, st.none()), max_size=4))
    return moment, [*failures, *good, *draw(st.sampled_from([[], [Life(moment, moment, 2)]]))]


@given(around_one_moment(), st.sampled_from([0.1, 0.7, 3]))
def test_lives_that_may_have_ended_at_one_moment_have_no_likeliest_model(
    drawn: tuple[float, list[Life]], hazard: float
) -> None:
    """Steeper models through the same point at that moment only ever grow likelier."""
    moment, some = drawn
    model = fit(some)
    assert isinstance(model, NoModel)
    assert "one moment" in model.why
    steeper = [log_likelihood(some, shape, moment * hazard ** (-1 / shape)) for shape in (0.5, 1, 1.5, 2)]
    assert steeper == pytest.approx(sorted(steeper), abs=1e-6)


@pytest.mark.parametrize("good", [(60.0,) * 9, (20.0, 45.0), (30.0, 31.0)])
def test_failures_that_came_no_later_than_survivals_make_ever_flatter_models_likelier(
    good: tuple[float, ...],
) -> None:
    some = [Life(0, 30, 2), *(Life(time, None) for time in good)]
    assert isinstance(fit(some), NoModel)

    def best(shape: float) -> float:
        return max(log_likelihood(some, shape, 30 * (place / 1000) ** (-1 / shape)) for place in range(1, 5000))

    flatter = [best(shape) for shape in (2, 1, 0.5, 0.2, 0.1)]
    assert flatter == sorted(flatter)


@settings(deadline=None)
@given(lives, st.floats(1e-3, 1e3))
def test_other_units_of_time_change_the_scale_alone(some: list[Life], unit: float) -> None:
    model = fit(some)
    rescaled = fit(
        [Life(life.lower * unit, None if life.upper is None else life.upper * unit, life.count) for life in some]
    )
    assert type(model) is type(rescaled)
    if isinstance(model, Weibull) and isinstance(rescaled, Weibull):
        assert rescaled.shape == pytest.approx(model.shape, rel=1e-6)
        assert rescaled.scale == pytest.approx(model.scale * unit, rel=1e-6)


@settings(deadline=None)
@given(lives)
def test_a_count_stands_for_as_many_equal_lives(some: list[Life]) -> None:
    spelled_out = [Life(life.lower, life.upper) for life in some for _ in range(life.count)]
    model, same = fit(some), fit(reversed(spelled_out))
    if isinstance(model, Weibull) and isinstance(same, Weibull):
        assert (model.shape, model.scale) == pytest.approx((same.shape, same.scale), rel=1e-6)
    else:
        assert model == same


NONE = [
    ([], "at least two failures, and here are none"),
    ([Life(30, None, 50)], "here are none"),
    ([Life(0, 30), Life(30, None, 50)], "here is one"),
    ([Life(45, 45, 2)], "one moment, between 45 and 45"),
    ([Life(45, 45, 2), Life(45, None)], "one moment"),
    ([Life(0, 30, 5)], "one moment, between 0 and 30"),
    ([Life(0, 30, 2), Life(20, None, 9)], "one moment, between 20 and 30"),
    ([Life(0, 30), Life(10, 40), Life(25, 90)], "one moment, between 25 and 30"),
    ([Life(0, 30, 2), Life(60, None, 9)], "used no longer than those still good"),
    ([Life(0, 30, 2), Life(20, None), Life(46, None)], "used no longer"),  # their geometric mean is above 30
    ([Life(1000, 1000), Life(math.nextafter(1000, 2000), math.nextafter(1000, 2000))], "one moment"),
]


@pytest.mark.parametrize(("some", "why"), NONE)
def test_lives_that_do_not_determine_a_model_say_why(some: list[Life], why: str) -> None:
    model = fit(some)
    assert isinstance(model, NoModel)
    assert why in model.why
    assert model.why.endswith(".")


def test_just_beyond_these_bounds_there_is_a_model() -> None:
    assert fitted([Life(0, 30, 2), Life(20, None), Life(44, None)]).shape < 0.1
    assert fitted([Life(0, 30, 2), Life(20, None), Life(31, None)]).shape > 0.1
    assert fitted([Life(45, 45, 2), Life(45.001, None)]).shape > 1000


@pytest.mark.parametrize(
    ("some", "shape", "log_scale"),
    [
        ([Life(1.9e-6, 1.9e-6, 27), Life(130, None, 18_000_000_000)], 0.0554287, 371.42486),
        ([Life(0, 30, 2), Life(20, None), Life(44.9, None)], 0.00680332, 57.273470),
    ],
)
def test_failing_that_hardly_depends_on_use_has_a_model_as_far_as_numbers_go(
    some: list[Life], shape: float, log_scale: float
) -> None:
    model = fitted(some)
    assert (model.shape, math.log(model.scale)) == pytest.approx((shape, log_scale), rel=1e-6)
    reference = likeliest_near(some, model.shape, model.scale)
    assert reference is not None
    assert (model.shape, model.scale) == pytest.approx(reference[:2], rel=1e-6)
    assert 0 <= model.interval(1e-16) <= model.interval(1 - 2**-53) < math.inf


def test_one_early_bird_in_a_steep_class_solves_the_profile_equation() -> None:
    """Without survivors: sum(t^k log t) / sum(t^k) - 1/k = mean(log t), and scale^k = mean(t^k)."""
    model = fitted([Life(1000, 1000, 20000), Life(1001, 1001, 20000), Life(1e-3, 1e-3)])
    counts, logs = (20000, 20000, 1), (math.log(1000), math.log(1001), math.log(1e-3))
    powers = [n * math.exp(model.shape * (log - logs[1])) for n, log in zip(counts, logs, strict=True)]
    left = sum(power * log for power, log in zip(powers, logs, strict=True)) / sum(powers) - 1 / model.shape
    assert left == pytest.approx(sum(n * log for n, log in zip(counts, logs, strict=True)) / 40001, abs=1e-12)
    assert math.log(model.scale) == pytest.approx(logs[1] + math.log(sum(powers) / 40001) / model.shape, abs=1e-12)


def test_lives_as_extreme_as_they_come_are_fitted() -> None:
    """Bounds so narrow that their survivals are equal in floats; twenty decades of time."""
    narrow = fitted([Life(30, math.nextafter(30, 31), 3), Life(60, math.nextafter(60, 61), 3)])
    assert narrow.shape == pytest.approx(fitted([Life(30, 30, 3), Life(60, 60, 3)]).shape, rel=1e-6)
    assert fitted([Life(1e-10, 1e-10), Life(1e10, 1e10)]).shape < 0.1


@pytest.mark.parametrize(
    ("lower", "upper", "count", "says"),
    [
        (60, 30, 1, r"\[60, 30\] ends before it starts"),
        (-1, 30, 1, r"\[-1, 30\] starts before 0"),
        (0, 0, 1, r"\[0, 0\] failed before any use"),
        (0, None, 0, r"\[0, null\] counts 0 items"),
    ],
)
def test_lives_that_cannot_be_are_refused(lower: float, upper: float | None, count: int, says: str) -> None:
    with pytest.raises(Invalid, match=says):
        Life(lower, upper, count)
