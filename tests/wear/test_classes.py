"""Which class speaks for itself, and what speaks for the others."""

from random import Random

import pytest

from service.wear.core.classes import ENOUGH, Fitted, failures_of, fitted_to, judged
from service.wear.core.fit import fit
from service.wear.core.lives import Life
from service.wear.core.weibull import Weibull
from service.wear.report import answer

CABLE = ("cable", "XLR")
STRAPPED = (*CABLE, "strapped to a frame")
FREE = (*CABLE, "not strapped")
OLD = (*STRAPPED, "Lot 1")
HUB = ("hub", "25-way D and XLR", "not strapped")


def some(failures: int, good: int, seed: int = 1) -> list[Life]:
    random = Random(seed)
    bad = [Life(at, at + 30) for at in (random.choice((15, 45, 75, 105)) for _ in range(failures))]
    return [*bad, Life(140, None, good)]


def test_a_class_with_enough_failures_speaks_for_itself() -> None:
    lives = {OLD: some(ENOUGH, 8), STRAPPED: some(2, 30), FREE: some(ENOUGH + 3, 40)}
    by = {each.path: each for each in judged(lives)}
    assert [by[path].by for path in (OLD, STRAPPED, FREE)] == [OLD, STRAPPED, FREE]
    for path, own in ((OLD, lives[OLD]), (STRAPPED, lives[OLD] + lives[STRAPPED]), (FREE, lives[FREE])):
        found = by[path].fitted
        assert found is not None
        assert found.model == fit(sorted(own, key=lambda life: (life.lower, life.upper or -1)))


def test_a_wider_class_holds_all_that_is_within_it() -> None:
    """Lot 1 has enough; strapped without a lot has not by itself, but its class takes the lot in."""
    strapped = {each.path: each for each in judged({OLD: some(5, 8), STRAPPED: some(2, 30)})}[STRAPPED]
    assert (strapped.failures, strapped.lives, strapped.by) == (7, 45, STRAPPED)


def test_too_few_failures_are_pooled_with_the_next_wider_class() -> None:
    lives = {OLD: some(ENOUGH - 1, 8), FREE: some(ENOUGH, 40)}
    by = {each.path: each for each in judged(lives)}
    assert (by[OLD].failures, by[OLD].lives, by[OLD].by) == (4, 12, CABLE)
    assert by[FREE].by == FREE
    pooled = fit(sorted(lives[OLD] + lives[FREE], key=lambda life: (life.lower, life.upper or -1)))
    assert isinstance(pooled, Weibull)
    found = by[OLD].fitted
    assert found is not None
    assert found.model.shape == pytest.approx(pooled.shape)


def test_a_kind_is_never_judged_by_another() -> None:
    by = {each.path: each for each in judged({HUB: some(2, 10), FREE: some(9, 40)})}
    assert (by[HUB].by, by[HUB].fitted, by[HUB].failures, by[HUB].lives) == (None, None, 2, 12)


def test_failures_that_tell_no_model_are_pooled_too() -> None:
    """Five failures that may all have come at one moment: no shape by themselves."""
    alone: dict[tuple[str, ...], list[Life]] = {OLD: [Life(0, 30, 5)]}
    assert judged(alone)[0].fitted is None
    both = {each.path: each for each in judged(alone | {FREE: some(6, 40)})}
    assert both[OLD].by == CABLE


def test_the_answer_is_in_whole_days_and_rounds() -> None:
    """Without wear and a mean life of 1,000 days: 20.13 days for 10 in 1,000 (the failure-finding interval)."""
    model = Weibull(1, 1000, 0)
    told = answer(Fitted(model, (Weibull(0.8, 800, 0), Weibull(1.3, 900, 0))), 105, 2, 0.01)
    assert (told.days, told.rounds, told.enough) == (20, 6, False)
    assert told.days_least < 20 < told.days_most
    assert told.rounds_least < 6 < told.rounds_most
    assert told.down == pytest.approx(1 - (1 - 2.718281828459045**-0.0525) / 0.0525, rel=1e-9)  # the mean of F
    assert told.grows is None
    assert answer(Fitted(model, (Weibull(1.2, 900, 0), Weibull(2, 900, 0))), 105, 2, 0.01).grows is True
    assert answer(Fitted(model, (Weibull(0.7, 900, 0), Weibull(0.9, 900, 0))), 105, 2, 0.01).grows is False


def test_enough_means_that_the_rounds_keep_what_is_aimed_at() -> None:
    model = Weibull(1, 3000, 0)  # 60.4 days
    assert answer(Fitted(model, (model,)), 120, 2, 0.01).enough
    assert not answer(Fitted(model, (model,)), 122, 2, 0.01).enough
    assert answer(Fitted(model, (model,)), 120, 2, 0.01).down <= 0.01


def test_answers_stay_within_reason() -> None:
    short, long = Weibull(0.1, 1e-9, 0), Weibull(3, 1e9, 0)
    told = answer(Fitted(short, (short, long)), 100, 2, 0.01)
    assert (told.days, told.days_least, told.days_most, told.rounds) == (1, 1, 1000, 100)


def test_a_fit_is_remembered() -> None:
    lives = tuple(some(9, 40, seed=3))
    assert fitted_to(lives) is fitted_to(lives)
    assert failures_of(lives) == 9
