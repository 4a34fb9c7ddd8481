"""Seasons ahead: the figures of the contract, a simulation of whole fleets, and what must hold of any plan."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.wear.core.classes import Fitted
from service.wear.core.fleet import Fleet, PlannedSeason
from service.wear.core.forecast import ahead, bad_shares, replacements_that_keep, rounds_that_keep
from service.wear.core.lives import Life
from service.wear.core.prior import assumed
from service.wear.core.weibull import Weibull

TWICE = PlannedSeason(105, (52.5, 105))
STEEP = Weibull(2.4, 300, 0)
shapes, scales = st.floats(0.5, 6), st.floats(100, 2000)
ages = st.lists(st.tuples(st.floats(0, 600), st.floats(0, 90)), min_size=1, max_size=4)


def sure(model: Weibull) -> Fitted:
    return Fitted(model, (model,))


def fleet(of_ages: list[tuple[float, float]], *seasons: PlannedSeason) -> Fleet:
    """Items as (age at the last pass, days since)."""
    return Fleet(tuple(good for good, _ in of_ages), tuple(good + since for good, since in of_ages), seasons)


def test_new_gear_grows_old_over_three_seasons() -> None:
    told = ahead(sure(STEEP), [fleet([(0, 0)] * 3, TWICE, TWICE, TWICE)], 0.01)
    assert [round(1000 * each.bad) for each in told] == [16, 66, 96]
    assert [each.rounds for each in told] == [4, 14, None]  # 15 rounds in 105 days are one a week
    assert [each.replaced for each in told] == [None, None, None]  # new ones are bad for 16 of 1,000


def test_an_interval_that_is_a_little_longer_than_the_rounds_is_enough() -> None:
    """At a constant rate a pass is as good as new, and the interval is that of the target: 52.9 days."""
    model = Weibull(1, 2633, 0)
    assert model.interval(0.01) == pytest.approx(53, abs=0.2)
    [told] = ahead(sure(model), [fleet([(400, 0)], TWICE)], 0.01)
    assert told.bad == pytest.approx(model.unavailability(52.5), abs=1e-9)
    assert told.bad <= 0.01
    assert told.rounds is None


@pytest.mark.parametrize("model", [STEEP, Weibull(0.8, 600, 0)])
def test_a_simulated_fleet_is_bad_for_so_long(model: Weibull) -> None:
    """100,000 items of each age, a season without a test at its end and another; within 5 standard errors, seeded."""
    random, count = np.random.default_rng(1), 100_000
    seasons = PlannedSeason(60, (20.0, 45.0)), PlannedSeason(105, (30.0, 105.0))
    told = bad_shares(model, [fleet([(100, 30), (0, 5)], *seasons)])
    for (passed, since), said in zip([(100, 30), (0, 5)], told, strict=True):
        fails = model.scale * (random.exponential(size=count) + (passed / model.scale) ** model.shape) ** (
            1 / model.shape
        )
        fails -= passed + since
        at, bad = 0.0, np.zeros((2, count))
        for edge, number, tested in [(20, 0, True), (45, 0, True), (60, 0, False), (90, 1, True), (165, 1, True)]:
            bad[number] += np.clip(edge - np.maximum(fails, at), 0, edge - at)
            down = fails <= edge
            if tested:
                fails[down] = edge + model.scale * random.exponential(size=down.sum()) ** (1 / model.shape)
            at = edge
        shares = bad / np.array([[60], [105]])
        error = shares.std(axis=1) / np.sqrt(count)
        assert (np.abs(shares.mean(axis=1) - said) <= 5 * error).all()


@settings(max_examples=25)
@given(shapes, scales, ages, st.floats(1, 104))
def test_another_test_never_makes_a_season_worse(
    shape: float, scale: float, of_ages: list[tuple[float, float]], test: float
) -> None:
    more = PlannedSeason(105, tuple(sorted({*TWICE.tests, test})))
    planned, with_more = (bad_shares(Weibull(shape, scale, 0), [fleet(of_ages, each)]) for each in (TWICE, more))
    assert (with_more <= planned + 1e-9).all()


@settings(max_examples=25)
@given(st.floats(1, 6), scales, st.floats(0, 500), st.floats(0, 500))
def test_older_gear_whose_wear_grows_is_never_better(shape: float, scale: float, age: float, older: float) -> None:
    """Up to the first test: what that finds goes on as new."""
    once = PlannedSeason(52.5, (52.5,))
    young, old = bad_shares(Weibull(shape, scale, 0), [fleet([(age, 0), (age + older, 0)], once)])[:, 0]
    assert old >= young - 1e-9


@settings(max_examples=15)
@given(shapes, scales, ages, st.floats(0.002, 0.2), st.booleans())
def test_rounds_and_replacements_that_are_named_keep_the_target_and_one_less_does_not(
    shape: float, scale: float, of_ages: list[tuple[float, float]], target: float, runs: bool
) -> None:
    model, season = Weibull(shape, scale, 0), replace(TWICE, runs=runs)
    items = fleet(of_ages, season)
    bad = bad_shares(model, [items])[:, 0]

    def with_rounds(rounds: int) -> float:
        return float(bad_shares(model, [replace(items, seasons=(season.with_rounds(rounds),))]).mean())

    rounds = rounds_that_keep(model, [items], 0, target)
    assert with_rounds(rounds or 15) <= target if rounds else with_rounds(15) > target
    assert rounds in (None, 1) or with_rounds(rounds - 1) > target
    replaced = replacements_that_keep(model, [items], 0, target, bad)
    new = float(bad_shares(model, [fleet([(0, 0)], season)])[0, 0])
    after = [
        np.where(np.isin(np.arange(len(bad)), numbers), np.minimum(bad, new), bad).mean()
        for numbers in (range(len(bad)) if replaced is None else replaced, () if replaced is None else replaced[:-1])
    ]
    assert (after[0] <= target + 1e-12) == (replaced is not None)
    assert replaced is None or bad.mean() <= target or after[1] > target - 1e-12


def test_items_that_passed_in_this_round_need_no_second_test_in_it() -> None:
    """They are a fleet of their own, and the mean is over both."""
    rest = fleet([(50, 10)], PlannedSeason(30, (30.0,)), TWICE)
    passed = fleet([(60, 0)] * 3, PlannedSeason(30, ()), TWICE)
    both = bad_shares(STEEP, [rest, passed])
    assert both == pytest.approx(np.concatenate([bad_shares(STEEP, [rest]), bad_shares(STEEP, [passed])]))
    assert [each.bad for each in ahead(sure(STEEP), [rest, passed], 0.9)] == pytest.approx(both.mean(axis=0).tolist())


def test_without_a_life_the_prior_speaks_and_lives_move_it() -> None:
    nothing = assumed(())
    assert (nothing.model.shape, nothing.model.scale) == pytest.approx((1.63, 490), rel=0.01)
    assert min(model.scale for model in nothing.edge) < 250 < 900 < max(model.scale for model in nothing.edge)
    lasting, failing = assumed((Life(400, None, 20),)).model, assumed((Life(0, 100, 3), Life(100, None, 3))).model
    assert failing.survival(105) < nothing.model.survival(105) < lasting.survival(105)
