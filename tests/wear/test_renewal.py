"""How often items fail when failures are repaired at once: against the series of M(t), its limit, and single lives."""

from math import exp, gamma, lgamma, log
from uuid import UUID

import numpy as np
import pytest

from service.wear.core.grid import LOG_SCALES, SHAPES, fails_between
from service.wear.core.lives import Life
from service.wear.core.pooling import PooledItem, bad_at_event
from service.wear.core.program_fit import Piece, fit_program
from service.wear.core.renewal import failures, failures_from_age

SCALES = np.exp(LOG_SCALES)


def series(ratio: float, shape: float, terms: int = 40) -> float:
    """The expected count at `ratio` scales (W. L. Smith and M. R. Leadbetter, Technometrics 5, 1963; from memory)."""
    a = [exp(lgamma(n * shape + 1) - lgamma(n + 1)) for n in range(1, terms + 1)]
    weights: list[float] = []
    for n in range(terms):
        weights.append(a[n] - sum(a[k] * weights[n - 1 - k] for k in range(n)))
    parts = [
        (n + 1, weights[n] * exp((n + 1) * shape * log(ratio) - lgamma((n + 1) * shape + 1))) for n in range(terms)
    ]
    return sum(part if n % 2 else -part for n, part in parts)


@pytest.mark.parametrize("shape", [0, 2, 4, 5, 7])
@pytest.mark.parametrize("scale", [28, 36, 44])
def test_the_count_is_that_of_the_series(shape: int, scale: int) -> None:
    days = 150.0
    told = failures(days)[shape, scale]
    assert told == pytest.approx(series(days / SCALES[scale], SHAPES[shape]), rel=1e-4)


def test_many_failures_come_once_a_mean_life() -> None:
    """M(t) tends to t / m + (v / m² - 1) / 2, with the mean m and the variance v of a life (D. R. Cox, 1962)."""
    told = failures(400.0)
    for number, shape in enumerate(SHAPES[3:], 3):
        mean, square = gamma(1 + 1 / shape), gamma(1 + 2 / shape)
        limit = 400 / SCALES[10] / mean + square / mean**2 / 2 - 1
        assert told[number, 10] == pytest.approx(limit, rel=2e-3)


def test_what_fails_often_fails_more_often_than_once() -> None:
    once = fails_between(np.zeros(1), np.array([150.0]))[0]
    told = failures(150.0)
    assert (told >= once * (1 - 1e-6)).all()
    some = once < 0.999
    assert (told[some] <= once[some] / (1 - once[some])).all()
    assert not failures(0.0).any()


def test_an_item_that_is_as_good_as_new_fails_as_a_new_one() -> None:
    assert failures_from_age(0, 0, 150.0) == pytest.approx(failures(150.0), rel=2e-3, abs=1e-9)


def test_an_item_that_fails_by_chance_alone_fails_as_often_at_any_age() -> None:
    """With a shape of 1, failures are a Poisson process: so many a day, and once more until today at most."""
    shape, scale = 1.0, 490.0
    row, column = int(np.abs(np.log(SHAPES) - log(shape)).argmin()), int(np.abs(LOG_SCALES - log(scale)).argmin())
    shape = float(SHAPES[row])
    seen, unseen = failures_from_age(200, 200, 90.0)[row, column], failures_from_age(100, 200, 90.0)[row, column]
    hazard = ((200 + 90) / scale) ** shape - (200 / scale) ** shape
    assert seen == pytest.approx(hazard, rel=0.1)
    found = 1 - exp((100 / scale) ** shape - (200 / scale) ** shape)
    assert unseen == pytest.approx(found * (1 + failures(90.0)[row, column]) + (1 - found) * seen, rel=1e-3)
    assert (failures_from_age(200, 200, 0.0) == 0).all()


def lives(*known: tuple[float, float | None]) -> tuple[Life, ...]:
    return tuple(Life(*life) for life in known)


def test_a_new_one_is_like_its_class_and_a_repaired_one_like_itself() -> None:
    strapped = ("cable", "strapped")
    lemon, sound, new = (
        (strapped, lives((10, 30), (5, 20), (10, 25), (10, 30))),
        (strapped, lives((90, None))),
        (strapped, lives()),
    )
    fit = fit_program(tuple((UUID(int=number), *each) for number, each in enumerate([*[sound] * 20, lemon])))
    pieces = [fit.piece(UUID(int=20), *lemon), Piece(*new), fit.piece(UUID(int=0), *sound)]
    expected = fit.renewed(pieces, [10, 150])
    (_, mine), (_, fresh), (_, theirs) = expected
    assert mine > fresh > theirs
    for fails, count in expected:
        assert 0 < fails[0] < fails[1] <= min(count, 1)
    past, count = fit.as_it_is(pieces[2], 90, 90, 60)
    assert past == pytest.approx(bad_at_event([PooledItem(*each, 90, 150) for each in (*[sound] * 20, lemon)])[0])
    assert past < count < 2 * past
    # A life that only begins is what the risk of an item without a record says.
    items = [PooledItem(*each, 0, 150) for each in (*[sound] * 20, lemon, (strapped, lives((0, None))))]
    assert expected[1][0][1] == pytest.approx(bad_at_event(items)[-1], rel=1e-9)
