"""Spares: exact coverage against SciPy and simulation-free enumeration, and marginal analysis against brute force."""

from itertools import product
from math import log

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import poisson

from service.retire.spares.core import Length, bought, coverage, covered, planned

# Poisson's law, P(demand > spares), worked out from the formula.
TABLE = {
    0.5: (0.39347, 0.09020, 0.01439, 0.00175, 0.00017, 0.00001),
    1: (0.63212, 0.26424, 0.08030, 0.01899, 0.00366, 0.00059),
    2: (0.86466, 0.59399, 0.32332, 0.14288, 0.05265, 0.01656),
    3: (0.95021, 0.80085, 0.57681, 0.35277, 0.18474, 0.08392),
    5: (0.99326, 0.95957, 0.87535, 0.73497, 0.55951, 0.38404),
}
ENOUGH = {0.5: 2, 1: 3, 2: 5, 3: 6, 5: 9}
MEANS = st.floats(0, 3)


@pytest.mark.parametrize("mean", TABLE)
def test_one_length_follows_the_table(mean: float) -> None:
    assert [1 - covered([mean], [spares]) for spares in range(6)] == pytest.approx(TABLE[mean], abs=5.1e-6)
    plan = planned([Length("xlr3", 3048, mean, 0, 1850)], 95, 100_000)
    assert plan.carry == (ENOUGH[mean],)


# A published example of spares by Poisson's law: 45 units for 90 days at 95 %, with 100, 200 and 300 thousand hours
# between failures. It prints 3, 2, 2 by a normal approximation (from memory); the exact law asks for 3, 2, 1.
@pytest.mark.parametrize(("hours", "spares"), [(100_000, 3), (200_000, 2), (300_000, 1)])
def test_a_published_example(hours: int, spares: int) -> None:
    mean = 45 * 90 * 24 / hours
    assert covered([mean], [spares]) >= 0.95 > covered([mean], [spares - 1])


# Marginal analysis on expected backorders, an example from memory: it buys A A A B A B A B D, for 340.
def test_marginal_analysis_buys_in_the_published_order() -> None:
    means, costs = (3, 1.5, 0.3, 0.8), (20, 40, 400, 120)

    def backorders(held: tuple[int, ...]) -> float:
        return sum(
            sum(poisson.pmf(demand, mean) * (demand - spares) for demand in range(spares + 1, 60))
            for mean, spares in zip(means, held, strict=True)
        )

    held: tuple[int, ...] = (0, 0, 0, 0)
    order = ""
    for _ in range(9):
        step = bought(lambda one: -backorders(one), held, costs, -backorders(held) + 1e-9, 10_000)
        order += "ABCD"[[after - before for after, before in zip(step, held, strict=True)].index(1)]
        held = step
    assert order == "AAABABABD"
    assert sum(count * cost for count, cost in zip(held, costs, strict=True)) == 340
    assert (backorders((0, 0, 0, 0)), backorders(held)) == pytest.approx((5.6, 0.77375), abs=1e-5)


@given(st.lists(st.tuples(MEANS, st.integers(0, 3)), min_size=1, max_size=3))
@settings(max_examples=40)
def test_longer_ones_stand_in_for_shorter_ones(lengths: list[tuple[float, int]]) -> None:
    means, spares = zip(*lengths, strict=True)
    # reference: every demand that the spares can meet at all, one by one, filled from the longest down
    chance = 0.0
    for demand in product(range(sum(spares) + 1), repeat=len(means)):
        left, met = 0, True
        for wanted, held in zip(reversed(demand), reversed(spares), strict=True):
            left += held - wanted
            met = met and left >= 0
        if met:
            terms = [poisson.pmf(wanted, mean) for wanted, mean in zip(demand, means, strict=True)]
            chance += float(np_product(terms))
    assert covered(means, spares) == pytest.approx(chance, abs=1e-9)


def np_product(terms: list[float]) -> float:
    found = 1.0
    for term in terms:
        found *= term
    return found


@given(st.lists(st.tuples(st.floats(0.05, 1.5), st.integers(500, 3000)), min_size=1, max_size=3))
@settings(max_examples=25)
def test_where_lengths_are_apart_no_other_purchase_is_better_for_the_money(
    found: list[tuple[float, int]],
) -> None:
    lengths = [Length(str(at), 1000, mean, 0, cents) for at, (mean, cents) in enumerate(found)]
    costs = [cents for _, cents in found]

    def value(held: tuple[int, ...]) -> float:
        return log(coverage(lengths, held))

    # The frontier: stop after each purchase, before anything is left out again.
    held: tuple[int, ...] = (0,) * len(lengths)
    for _ in range(4):
        held = bought(value, held, costs, value(held) + 1e-12, 10**9)
        spent = sum(count * cost for count, cost in zip(held, costs, strict=True))
        for other in product(range(8), repeat=len(lengths)):
            if sum(count * cost for count, cost in zip(other, costs, strict=True)) <= spent:
                assert coverage(lengths, other) <= coverage(lengths, held) + 1e-9


@given(
    st.lists(st.tuples(st.floats(0.05, 1.5), st.integers(500, 3000)), min_size=2, max_size=3),
    st.sampled_from([80, 90, 95]),
)
@settings(max_examples=25)
def test_where_lengths_stand_in_the_purchase_is_near_the_cheapest(found: list[tuple[float, int]], percent: int) -> None:
    lengths = [Length("xlr3", 1000 * (at + 1), mean, 0, cents) for at, (mean, cents) in enumerate(found)]
    costs = [cents for _, cents in found]
    plan = planned(lengths, percent, 10**9)
    assert plan.after >= percent / 100
    assert all(
        coverage(lengths, tuple(count - (at == one) for one, count in enumerate(plan.carry))) < percent / 100
        for at, have in enumerate(plan.carry)
        if have
    )  # nothing is too many
    cheapest = min(
        sum(count * cost for count, cost in zip(other, costs, strict=True))
        for other in product(range(max(plan.carry) + 3), repeat=len(lengths))
        if coverage(lengths, other) >= percent / 100
    )
    assert plan.cents <= cheapest + max(costs)


def test_what_is_there_counts_and_the_budget_holds() -> None:
    lengths = [Length("xlr3", 3048, 1.0, 2, 1850), Length("xlr3", 7620, 0.5, 0, 2900)]
    plan = planned(lengths, 95, 3000)
    assert plan.now == pytest.approx(coverage(lengths, (2, 0)))
    assert plan.cents <= 3000
    assert plan.now < plan.after < 0.95
    rich = planned(lengths, 95, 100_000)
    assert rich.after >= 0.95
    assert all(carry >= each.here for carry, each in zip(rich.carry, lengths, strict=True))


def test_without_a_price_nothing_is_bought() -> None:
    assert planned([Length("xlr3", 3048, 1.0, 0, None)], 95, 100_000).add == (0,)


def test_without_failures_nothing_is_carried() -> None:
    assert planned([], 95, 1000).after == 1.0
    assert planned([Length("xlr3", 3048, 0.0, 0, 1850)], 95, 1000).carry == (0,)
