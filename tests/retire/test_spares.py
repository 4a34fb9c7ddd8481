"""Spares: coverage against enumeration and Poisson's law, and purchases against every purchase that there is."""

from collections.abc import Iterator, Sequence
from itertools import product
from math import prod

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.retire.spares.core.coverage import Stock, covered, how_many
from service.retire.spares.core.kits import Kit, best_within, cheapest
from tests.support.examples import examples

# Poisson's law, P(demand > spares), worked out from the formula.
TABLE = {
    0.5: (0.39347, 0.09020, 0.01439, 0.00175, 0.00017, 0.00001),
    1: (0.63212, 0.26424, 0.08030, 0.01899, 0.00366, 0.00059),
    2: (0.86466, 0.59399, 0.32332, 0.14288, 0.05265, 0.01656),
    3: (0.95021, 0.80085, 0.57681, 0.35277, 0.18474, 0.08392),
    5: (0.99326, 0.95957, 0.87535, 0.73497, 0.55951, 0.38404),
}
ENOUGH = {0.5: 2, 1: 3, 2: 5, 3: 6, 5: 9}
TEN, TWENTY, FIFTY = 3048, 6096, 15240


@pytest.mark.parametrize("mean", TABLE)
def test_many_pieces_with_small_chances_follow_the_table(mean: float) -> None:
    """Le Cam 1960 (from memory): the binomial law of small chances is within the sum of their squares of Poisson's."""
    many = Stock(((TEN, mean / 4000),) * 4000, prices=((TEN, 1850),))
    away = mean**2 / 4000
    assert [1 - covered(many, {TEN: spares}) for spares in range(6)] == pytest.approx(TABLE[mean], abs=away + 5.1e-6)
    kit = cheapest([many], 0.95)
    assert kit is not None
    assert (kit.bought, kit.cents) == (({TEN: ENOUGH[mean]},), 1850 * ENOUGH[mean])


def test_an_item_fails_once() -> None:
    """Four that fail with one half each: five spares are never needed, and four always enough; by hand."""
    halves = Stock(((TEN, 0.5),) * 4)
    assert [covered(halves, {TEN: count}) for count in range(5)] == pytest.approx([n / 16 for n in (1, 5, 11, 15, 16)])


def test_large_means_do_not_underflow() -> None:
    law = how_many([0.8] * 1000 + [0.9] * 1000)  # 1,700 on average; its variance is 250
    assert float(law.chances.sum()) == pytest.approx(1)
    assert sum((law.low + n) * chance for n, chance in enumerate(law.chances)) == pytest.approx(1700)
    many = Stock(((TEN, 0.8),) * 1000)
    assert covered(many, {TEN: 700}) < 1e-12
    assert 0.5 < covered(many, {TEN: 800}) < covered(many, {TEN: 850}) < 1


def every_case(stock: Stock) -> Iterator[tuple[float, list[int], list[int]]]:
    """Every way in which pieces fail and spares work: its chance, the lengths that failed, and those that work."""
    chances = [chance for _, chance in (*stock.needed, *stock.spares)]
    for happens in product((True, False), repeat=len(chances)):
        chance = prod(p if yes else 1 - p for p, yes in zip(chances, happens, strict=True))
        needed = [one[0] for one, yes in zip(stock.needed, happens, strict=False) if yes]
        works = [one[0] for one, yes in zip(stock.spares, happens[len(stock.needed) :], strict=True) if yes]
        yield chance, needed, works


def filled(needed: Sequence[int], spares: Sequence[int]) -> bool:
    """Whether each gets one that is as long or longer, the longest first."""
    left = sorted(spares)
    return all(left and left.pop() >= each for each in sorted(needed, reverse=True))


lengths = st.sampled_from([TEN, 2800, TWENTY, FIFTY])
chances = st.sampled_from([0.0, 0.03, 0.2, 0.5, 0.9, 1.0])
stocks = st.builds(
    lambda needed, spares, prices: Stock(tuple(needed), tuple(spares), tuple(sorted(prices.items()))),
    st.lists(st.tuples(lengths, chances), max_size=5),
    st.lists(st.tuples(lengths, chances), max_size=3),
    st.dictionaries(st.sampled_from([TEN, TWENTY, FIFTY]), st.integers(0, 9), max_size=3),
)


@given(stocks, st.dictionaries(st.sampled_from([TEN, TWENTY, FIFTY]), st.integers(0, 2)))
@examples(40)
def test_a_cut_one_counts_for_what_it_reaches_and_the_spares_own_risk_counts(
    stock: Stock, bought: dict[int, int]
) -> None:
    new = [length for length, count in bought.items() for _ in range(count)]
    chance = sum(chance for chance, needed, works in every_case(stock) if filled(needed, [*works, *new]))
    assert covered(stock, bought) == pytest.approx(chance, abs=1e-12)


def every_purchase(all_: Sequence[Stock]) -> Iterator[tuple[int, int, float]]:
    """What every purchase costs, its pieces, and the chance that it is enough; more than all that fail is no use."""
    offers = [(at, length, cents) for at, stock in enumerate(all_) for length, cents in stock.prices]
    for counts in product(*(range(len(all_[at].needed) + 1) for at, _, _ in offers)):
        bought: list[dict[int, int]] = [{} for _ in all_]
        for count, (at, length, _) in zip(counts, offers, strict=True):
            bought[at][length] = count
        cents = sum(count * cents for count, (_, _, cents) in zip(counts, offers, strict=True))
        yield cents, sum(counts), prod(map(covered, all_, bought))


def pieces(kit: Kit) -> int:
    return sum(sum(bought.values()) for bought in kit.bought)


few = stocks.filter(lambda stock: len(stock.needed) <= 3)


@given(st.lists(few, min_size=1, max_size=2), st.sampled_from([0.5, 0.8, 0.95, 0.99]))
@examples(50)
def test_no_purchase_is_cheaper(all_: list[Stock], wanted: float) -> None:
    enough = [(cents, count) for cents, count, chance in every_purchase(all_) if chance >= wanted - 1e-12]
    kit = cheapest(all_, wanted)
    if kit is None:
        assert not enough
        return
    assert (kit.cents, pieces(kit)) == min(enough)
    assert kit.chance >= wanted - 1e-9
    assert kit.exact


@given(st.lists(few, min_size=1, max_size=2), st.integers(0, 40))
@examples(50)
def test_no_purchase_for_the_money_has_a_greater_chance(all_: list[Stock], cents: int) -> None:
    kit = best_within(all_, cents)
    within = [(chance, cost) for cost, _, chance in every_purchase(all_) if cost <= cents]
    best = max(chance for chance, _ in within)
    assert kit.cents <= cents
    assert kit.chance == pytest.approx(best, abs=1e-9)
    if best > 1e-9:
        assert kit.cents == min(cost for chance, cost in within if chance >= best * (1 - 1e-10))


def test_of_many_pieces_of_three_lengths_no_purchase_is_better() -> None:
    """Thousands of purchases come into question here; all of them are looked at, one by one."""
    needed = tuple((length, 0.02 * (1 + n % 9)) for n in range(75) for length in (TEN, TWENTY, FIFTY))
    many = Stock(needed, ((FIFTY, 0.9),) * 3, ((TEN, 1850), (TWENTY, 2450), (FIFTY, 4400)))
    cents = 55_000
    every = [
        (short * 1850 + middle * 2450 + long_ * 4400, covered(many, {TEN: short, TWENTY: middle, FIFTY: long_}))
        for short, middle, long_ in product(range(14), range(16), range(14))
    ]
    least = min(cost for cost, chance in every if chance >= 0.95)
    best = max(chance for cost, chance in every if cost <= cents)
    cheap, within = cheapest([many], 0.95), best_within([many], cents)
    assert cheap is not None
    assert (cheap.cents, cheap.exact, within.exact) == (least, True, True)
    assert within.chance == pytest.approx(best, abs=1e-9)


def test_cheap_pieces_do_not_eat_the_budget() -> None:
    """For 40 dollars one long cable covers more than four short ones that fail more often, one by one the best buy."""
    short = Stock(((TEN, 0.3),) * 2, prices=((TEN, 1000),))
    long_ = Stock(((FIFTY, 0.55),), prices=((FIFTY, 4000),))
    kit = best_within([short, long_], 4000)
    assert kit.bought == ({}, {FIFTY: 1})
    assert kit.chance == pytest.approx(0.49)  # two short ones: 0.45


def test_what_a_longer_one_costs_less_than_is_bought_as_a_longer_one() -> None:
    both = Stock(((TEN, 0.3),), prices=((TEN, 2000), (TWENTY, 1500)))
    kit = cheapest([both], 0.95)
    assert kit is not None
    assert (kit.bought, kit.cents) == (({TWENTY: 1},), 1500)


def test_without_a_price_nothing_is_bought() -> None:
    unknown = Stock(((TEN, 0.3),))
    assert cheapest([unknown], 0.95) is None
    assert cheapest([unknown], 0.7) == Kit(({},), 0, (0.7,))
    assert best_within([unknown], 100_000) == Kit(({},), 0, (0.7,))


def test_a_chance_that_rounding_leaves_a_hair_below_is_enough() -> None:
    """The long one fails once in five and cannot be bought; with a short one for nothing that is all that can fail."""
    stock = Stock(((TEN, 0.03), (TWENTY, 0.2)), ((TEN, 0.03),), ((TEN, 0),))
    kit = cheapest([stock], 0.8)
    assert kit is not None
    assert kit.bought == ({TEN: 1},)


def test_without_failures_nothing_is_carried() -> None:
    nothing = Kit((), 0, ())
    assert (cheapest([], 0.95), nothing.chance) == (nothing, 1.0)
    assert cheapest([Stock(((TEN, 0.0),), prices=((TEN, 1850),))], 0.95) == Kit(({},), 0, (1.0,))
