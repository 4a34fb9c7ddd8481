"""How sure a fit is: intervals hold the truth as often as they claim, in programs that are made up of a known one."""

from collections.abc import Callable
from random import Random

import numpy as np
import pytest

from service.wear.core.confidence import DEPTH, RAYS, edge
from service.wear.core.fit import fit
from service.wear.core.likelihood import LogLikelihood
from service.wear.core.lives import Life, aggregated
from service.wear.core.weibull import Weibull
from tests.wear.simulated import seen_by_tests


@pytest.mark.parametrize(
    ("shape", "scale", "items", "seed"),
    [(2, 300, 90, 1), (0.7, 1200, 90, 2), (1.5, 200, 25, 3)],
)
def test_the_truth_lies_within_as_often_as_claimed(shape: float, scale: float, items: int, seed: int) -> None:
    """95 of 100 on average; fewer than 87 would be chance once in a thousand times, by the binomial."""
    true, random = Weibull(shape, scale, 0), Random(seed)
    asked: dict[str, Callable[[Weibull], float]] = {
        "shape": lambda model: model.shape,
        "good after 150 days": lambda model: model.survival(150),
        "days between tests": lambda model: model.interval(0.05),
    }
    within = dict.fromkeys(asked, 0)
    for _ in range(100):
        lives = seen_by_tests(random, true, items)
        model = fit(lives)
        assert isinstance(model, Weibull)
        plausible = edge(lives, model)
        for name, quantity in asked.items():
            told = [quantity(each) for each in plausible]
            within[name] += min(told) <= quantity(true) <= max(told)
    assert min(within.values()) >= 87, within
    assert sum(within.values()) < 300, within  # nor are they so wide that they say nothing


def test_the_edge_lies_as_deep_as_it_should_all_around() -> None:
    lives = seen_by_tests(Random(7), Weibull(2, 300, 0), 90)
    model = fit(lives)
    assert isinstance(model, Weibull)
    likelihood = LogLikelihood(aggregated(lives))
    for each in edge(lives, model):
        k = each.shape * likelihood.spread
        alpha = each.shape * (likelihood.center - np.log(each.scale))
        depth = model.log_likelihood - likelihood.at(np.array([alpha, k])).value
        assert depth == pytest.approx(DEPTH, rel=1e-3)
    shapes = [each.shape for each in edge(lives, model)]
    assert min(shapes) < model.shape < max(shapes)


def test_more_of_the_same_makes_surer() -> None:
    lives = seen_by_tests(Random(7), Weibull(2, 300, 0), 90)
    four = [Life(life.lower, life.upper, 4) for life in lives]

    def width(some: list[Life]) -> float:
        model = fit(some)
        assert isinstance(model, Weibull)
        told = [each.interval(0.01) for each in edge(some, model)]
        return max(told) - min(told)

    assert 0.35 < width(four) / width(lives) < 0.65  # half, for four times as many


def test_a_shape_that_may_be_anything_has_an_edge_too() -> None:
    """Two failures, nearly no information: shapes down to nearly 0 are plausible, and all numbers stay finite."""
    lives = [Life(0, 30), Life(20, 60), Life(65, None, 20)]
    model = fit(lives)
    assert isinstance(model, Weibull)
    for each in edge(lives, model):
        assert each.shape > 0
        assert each.interval(0.01) >= 0
        assert 0 <= each.survival(50) <= 1


@pytest.mark.parametrize("most", [1, 1_000, 10**12])
def test_however_many_lives_are_counted_the_edge_is_reached(most: int) -> None:
    lives = [Life(0, 30, most), Life(20, 60, most), Life(65, None, 20 * most)]
    model = fit(lives)
    assert isinstance(model, Weibull)
    plausible = edge(lives, model)
    assert len(plausible) == RAYS
    assert min(each.shape for each in plausible) < model.shape < max(each.shape for each in plausible)
