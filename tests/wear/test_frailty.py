"""An item's own record against its class: integrals by another way, and what must hold for any record."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import gamma

from service.wear.core.frailty import LEVELS, VARIANCES, Records, conditional_hazard, spread
from service.wear.core.lives import Life
from service.wear.core.weibull import Weibull

MODEL = Weibull(1.5, 400, 0)

days = st.integers(1, 300).map(float)
lives = st.lists(
    st.one_of(
        st.builds(lambda t: Life(t, None), days),
        st.builds(lambda t, more: Life(t, t + more), days, days),
        st.builds(lambda t: Life(t, t), days),
    ),
    max_size=6,
)
variances = st.sampled_from(VARIANCES)


def hazard(variance: float, time: float) -> float:
    return float(conditional_hazard([MODEL], variance, np.array([time]))[0, 0])


def by_quadrature(own: list[Life], variance: float, power: int = 0, more: float = 0) -> float:
    """The integral over z of its prior density, z^power and the likelihood of the lives, term by term."""

    def at(z: float) -> float:
        value = gamma.pdf(z, 1 / variance, scale=variance) * z**power * math.exp(-z * more)
        for life in own:
            lower = hazard(variance, life.lower)
            if life.upper is None:
                value *= math.exp(-z * lower)
            elif life.upper == life.lower:
                value *= z * math.exp(-z * lower) * (1 + variance * lower)
            else:
                value *= math.exp(-z * lower) - math.exp(-z * hazard(variance, life.upper))
        return float(value)

    parts = [quad(at, a, b, epsabs=0, epsrel=1e-10, limit=200)[0] for a, b in ((0, 1e-4), (1e-4, 1), (1, 60))]
    return math.fsum(parts)


@settings(max_examples=25, deadline=None)
@given(lives, st.sampled_from([v for v in VARIANCES if v > 0.05]), days)
def test_integrals_agree_with_another_way(own: list[Life], variance: float, more: float) -> None:
    seen = Records.of([own]).given([MODEL], variance)
    whole = by_quadrature(own, variance)
    assert math.exp(seen.log_likelihood()[0, 0]) == pytest.approx(whole, rel=1e-6)
    assert seen.mean()[0, 0] == pytest.approx(by_quadrature(own, variance, 1) / whole, rel=1e-5)
    assert math.exp(seen.log_likelihood(0.3)[0, 0]) == pytest.approx(by_quadrature(own, variance, 0, 0.3), rel=1e-6)


@given(variances, days)
def test_a_class_stays_what_its_model_says(variance: float, day: float) -> None:
    nobody = Records.of([[]]).given([MODEL], variance)
    survived = math.exp(nobody.log_likelihood(hazard(variance, day))[0, 0])
    assert survived == pytest.approx(MODEL.survival(day), rel=1e-9)
    assert nobody.mean()[0, 0] == pytest.approx(1)


@given(lives, variances, days, days)
def test_failures_raise_and_good_lives_lower(own: list[Life], variance: float, good: float, more: float) -> None:
    records = [own, [*own, Life(0, good)], [*own, Life(good, None)], [*own, Life(good + more, None)]]
    same, failed, was_good, longer = Records.of(records).given([MODEL], variance).mean()[0]
    assert failed > same * (1 - 1e-9)
    assert longer < was_good < same


def test_the_worked_example() -> None:
    steady = Weibull(1, 100, 0)
    time = 100 * math.log1p(0.5 * 0.1) / 0.5  # where the conditional hazard is 0.1
    assert conditional_hazard([steady], 0.5, np.array([time]))[0, 0] == pytest.approx(0.1)
    twice = 100 * math.log1p(0.5 * 0.2) / 0.5
    bad, good = Records.of([[Life(0, time)] * 2, [Life(twice, None)]]).given([steady], 0.5).mean()[0]
    assert bad == pytest.approx(1.9, abs=0.05)
    assert good == pytest.approx(0.91, abs=0.005)  # (1 / v) / (1 / v + 0.2)


def test_how_much_items_differ_is_learned() -> None:
    """Failures that all fall on the same few items speak for a large variance; spread evenly, for a small one."""
    one, none = [Life(0, 40)], [Life(120, None)]
    even = [[*one, Life(80, None)]] * 20
    uneven = [[*one * 3, Life(20, None)]] * 6 + [none] * 14

    def mean(records: list[list[Life]]) -> float:
        likely = spread([(Records.of(records), MODEL)])
        assert sum(likely) == pytest.approx(1)
        return math.fsum(share * v for share, v in zip(likely, VARIANCES, strict=True))

    assert mean(even) < math.fsum(VARIANCES) / LEVELS < mean(uneven)
    assert spread([]) == pytest.approx([1 / LEVELS] * LEVELS)
