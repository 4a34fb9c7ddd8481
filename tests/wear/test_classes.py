"""Which class speaks for itself, and what speaks for the others."""

from random import Random

import pytest

from service.wear.core.classes import ENOUGH, failures_of, fitted_to, judged
from service.wear.core.fit import fit
from service.wear.core.lives import Life
from service.wear.core.weibull import Weibull

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


def test_a_fit_is_remembered() -> None:
    lives = tuple(some(9, 40, seed=3))
    assert fitted_to(lives) is fitted_to(lives)
    assert failures_of(lives) == 9
