"""What tests tell of a class whose wear is known: twice a season, for three seasons."""

from random import Random

from service.wear.core.lives import Life
from service.wear.core.weibull import Weibull

TESTS = (15, 45, 75, 105, 140, 170)
"""Exposure days on which all is tested."""


def seen_by_tests(random: Random, true: Weibull, items: int) -> list[Life]:
    """What tests tell of items whose lives are drawn from the true model, on `TESTS`."""
    found = []
    for _ in range(items):
        fails = random.weibullvariate(true.scale, true.shape)
        good = max((day for day in TESTS if day < fails), default=0)
        found.append(Life(good, min((day for day in TESTS if day >= fails), default=None)))
    return found
