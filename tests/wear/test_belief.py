"""What may be true of a class, against published posteriors and simple cases."""

import math
from itertools import product

import pytest
from scipy.stats import gamma

from service.wear.core.belief import SHAPES, Rate, belief_of, belief_with_few
from service.wear.core.classes import fitted_to
from service.wear.core.lives import Life
from service.wear.core.weibull import Weibull


def test_a_gamma_prior_takes_in_failures_as_published() -> None:
    """NIST/SEMATECH e-Handbook, 8.4.6: prior (2.863, 1522.46); 2 failures in 1756.1 hours; median MTBF 723.1 hours.
    A. Gelman et al., "Bayesian Data Analysis" (asthma deaths): (3, 5), 3 in 2.0, then 30 in 20; from memory.
    """
    known = Rate(2.863, 1522.46).after(2, 1756.1)
    assert (known.shape, known.exposure) == pytest.approx((4.863, 3278.56), abs=0.03)
    assert 1 / gamma.median(known.shape, scale=1 / known.exposure) == pytest.approx(723.1, abs=0.1)
    assert Rate(3, 5).after(3, 2.0).mean == pytest.approx(0.857, abs=0.001)
    assert Rate(3, 5).after(30, 20).mean == pytest.approx(1.32)


def test_a_fit_and_its_doubt_weigh_as_a_posterior_does() -> None:
    """Many lives: mean and spread of the log shape are near those of the likelihood times the prior, on a fine grid."""
    failed = [Life(a, a + 30, n) for a, n in ((15, 4), (45, 9), (75, 14), (105, 16))]
    lives = (*failed, Life(135, None, 60))
    fitted = fitted_to(lives)
    assert fitted is not None
    belief = belief_of(fitted)
    assert math.fsum(weight for weight, _ in belief) == pytest.approx(1)

    def log_posterior(shape: float, scale: float) -> float:
        model = Weibull(shape, scale, 0)
        told = math.fsum(
            life.count * math.log(model.survival(life.lower) - (model.survival(life.upper) if life.upper else 0))
            for life in lives
        )
        prior = -2 * (math.log(shape) - math.log(1.5)) ** 2 - math.log(shape)
        return told + prior + math.log(shape / scale)  # flat in alpha = -shape log scale

    grid = [(0.8 + 0.03 * i, 120 + 4 * j) for i, j in product(range(80), range(100))]
    logs = [log_posterior(*at) for at in grid]
    shares = [math.exp(log - max(logs)) for log in logs]

    def survival(weighed: list[tuple[float, Weibull]]) -> list[float]:
        whole = math.fsum(weight for weight, _ in weighed)
        means = [math.fsum(w * model.survival(150) ** n for w, model in weighed) / whole for n in (1, 2)]
        return [means[0], math.sqrt(means[1] - means[0] ** 2)]

    exact = survival([(share, Weibull(*at, 0)) for share, at in zip(shares, grid, strict=True)])
    assert survival(list(belief)) == pytest.approx(exact, rel=0.05)


def test_without_failures_half_a_one_is_added() -> None:
    """Five hubs that were good for 90 days: with a shape of 1 the rate would be 0.5 in 450 days."""
    belief = belief_with_few([Life(90, None, 5)])
    assert belief is not None
    assert {model.shape for _, model in belief} == set(SHAPES)
    assert math.fsum(weight for weight, _ in belief) == pytest.approx(1)
    for shape in SHAPES:  # no failure favors a shape, and given one the mean of (90 / scale)^shape is 0.5 / 5
        own = [(weight, model) for weight, model in belief if model.shape == shape]
        assert math.fsum(weight for weight, _ in own) == pytest.approx(1 / len(SHAPES))
        mean = math.fsum(w * (90 / model.scale) ** shape for w, model in own) * len(SHAPES)
        assert mean == pytest.approx(0.1)


def test_a_failure_makes_a_class_worse_and_no_day_of_use_tells_nothing() -> None:
    without, with_one = (
        belief_with_few([Life(90, None, 5)]),
        belief_with_few([Life(90, None, 4), Life(30, 90)]),
    )
    assert without is not None
    assert with_one is not None
    good, worse = (math.fsum(w * model.survival(90) for w, model in each) for each in (without, with_one))
    assert worse < good
    assert belief_with_few([]) is None
    assert belief_with_few([Life(1, None, 11), Life(0, 1)]) is None  # a first evening
    assert belief_with_few([Life(6, None, 40)]) is None
    assert belief_with_few([Life(8, None, 11), Life(2, None)]) is not None
