"""Tests of what is named leave fewer bad on the day than plain rules do, and as many are bad as was told. Seeded."""

import math
from random import Random
from statistics import mean, stdev

import numpy as np
import pytest

from service.wear.core.grid import Floats
from tests.wear.event_day import PLAIN, left, named, programs, told
from tests.wear.pooled import Kind

PROGRAMS = 60


@pytest.mark.parametrize("found", [1.0, 0.8])
def test_what_is_named_leaves_fewer_bad_than_plain_rules_and_what_is_told_is_so(found: float) -> None:
    """The rules name as many. Fewer by more than two standard errors of the mean difference.

    With perfect tests the sum of what is told is within 2 standard deviations of how many fail, each tenth within 3.
    `pooling` takes tests to be perfect and says how far off that is: where they find 80 %, what fails after its last
    pass is told too low, by less than a fifth; of what was bad when it passed nothing is told.
    """
    fewer: dict[str, list[float]] = {rule: [] for rule in PLAIN}
    said: list[float] = []
    bad: list[float] = []
    for number, items in enumerate(programs(Kind(found=found), PROGRAMS)):
        by = told(items)
        first = named(by)
        for rule, names in PLAIN.items():
            others = names(items, Random(number))
            assert len(others) == len(first)
            fewer[rule].append(left(items, others) - left(items, first))
        good = [key for key, item in items.items() if item.passed_good]
        said += [by[key].failed for key in good]
        bad += [items[key].bad for key in good]
    for rule, by_program in fewer.items():
        assert mean(by_program) > 2 * stdev(by_program) / math.sqrt(PROGRAMS), rule
    p, q = np.array(said), np.array(bad)
    tenths = np.array_split(np.argsort(p, kind="stable"), 10)
    assert all(abs(off(p[part], q[part])) <= 3 for part in tenths)
    assert abs(off(p, q)) <= 2 if found == 1 else 0.8 < p.sum() / q.sum() < 1


def off(said: Floats, bad: Floats) -> float:
    """How far apart the sums are, in standard deviations of how many are bad."""
    return float((said.sum() - bad.sum()) / math.sqrt((said * (1 - said)).sum()))
