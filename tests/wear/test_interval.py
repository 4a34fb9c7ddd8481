"""How long between tests. Shape 1 is the failure-finding interval of reliability-centered maintenance."""

import math
from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import gammainc

from service.wear.core.weibull import Weibull


@pytest.mark.parametrize(
    ("unavailability", "part_of_mean_life"),
    [
        (0.0005, 0.001000),
        (0.001, 0.002001),
        (0.005, 0.010033),
        (0.01, 0.020134),
        (0.03, 0.061231),
        (0.05, 0.103479),
    ],
)
def test_without_wear_it_is_the_failure_finding_interval(unavailability: float, part_of_mean_life: float) -> None:
    """The root of 1 - (1 - exp(-x)) / x = U, which the published rule of thumb 2 U (a guide to RCM) approximates."""
    interval = Weibull(1, 1000, 0).interval(unavailability)
    assert interval == pytest.approx(1000 * part_of_mean_life, abs=0.001)
    assert interval == pytest.approx(1000 * 2 * unavailability, rel=0.04)


def test_the_published_smoke_detectors() -> None:
    """A mean life of 10 years and 99 % availability: 0.2 years, or 73 days (a guide to RCM; rule of thumb)."""
    assert Weibull(1, 3652.5, 0).interval(0.01) == pytest.approx(73, abs=0.6)


@pytest.mark.parametrize(
    ("x", "mean_down"), [(0.1, 0.048374), (0.2, 0.093654), (0.5, 0.213061), (1, 0.367879), (2, 0.567668)]
)
def test_mean_fractional_dead_time_of_a_constant_rate(x: float, mean_down: float) -> None:
    assert Weibull(1, 1, 0).interval(mean_down) == pytest.approx(x, rel=1e-5)


@given(st.floats(0.2, 50), st.floats(1e-6, 0.99))
def test_the_mean_of_f_until_then_is_what_was_asked(shape: float, unavailability: float) -> None:
    model = Weibull(shape, 100, 0)
    interval = model.interval(unavailability)
    parts = sorted({0.0, *(edge for edge in (50.0, 90.0, 100.0, 110.0, 200.0) if edge < interval), interval})
    pieces = [
        quad(lambda t: -math.expm1(-((t / 100) ** shape)), low, high, limit=500)[0] for low, high in pairwise(parts)
    ]
    down = math.fsum(pieces)
    assert down / interval == pytest.approx(unavailability, rel=1e-4)


@given(st.floats(0.01, 1e9), st.floats(1e-300, 0.999999))
def test_there_is_an_interval_for_any_model(shape: float, unavailability: float) -> None:
    model = Weibull(shape, 100, 0)
    assert 0 <= model.interval(unavailability) < math.inf
    assert model.interval(unavailability) <= model.interval(min(unavailability * 1.1, 0.9999999))


@given(st.floats(0.01, 1e4), st.floats(0.5, 1 - 2**-53))
@example(0.0807856595075, 0.999999999999)
def test_next_to_no_availability_is_what_was_asked_too(shape: float, unavailability: float) -> None:
    """The mean of S until then by DLMF 8.5.1, which loses nothing where it is close to 0."""
    log_x = shape * math.log(Weibull(shape, 1, 0).interval(unavailability))
    log_part = math.log(gammainc(1 / shape, math.exp(min(log_x, 700))))
    log_up = math.lgamma(1 + 1 / shape) + log_part - log_x / shape
    assert log_up == pytest.approx(math.log1p(-unavailability), abs=1e-9)


@given(st.floats(0.01, 100), st.floats(0, 1e6))
def test_survival_starts_at_one_and_falls(shape: float, time: float) -> None:
    model = Weibull(shape, 100, 0)
    assert model.survival(0) == 1
    assert model.survival(100) == pytest.approx(math.exp(-1))
    assert 0 <= model.survival(time * 2) <= model.survival(time) <= 1
