"""The chance that an item has failed unseen, and that all of them work."""

import math
from dataclasses import replace
from itertools import combinations
from uuid import UUID, uuid4

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.wear.core.lives import Life
from service.wear.core.risk import Ages, Chance, KnownItem, Outlook, chances, outlook, works

CABLE, HUB = ("cable", "XLR", "strapped to a frame"), ("hub", "25-way D and XLR", "not strapped")


def class_of(path: tuple[str, ...], items: int, failures: int) -> list[KnownItem]:
    """Items that passed at 90 days, some of them after a failure between 30 and 60 days of a life before."""
    return [
        KnownItem(path, ((Life(30, 60),) if n < failures else ()) + (Life(90, None),), Ages(90, 100, 120))
        for n in range(items)
    ]


def told(*known: KnownItem) -> list[Chance]:
    """The chances of those, in a program of 60 more cables of which 12 failed once."""
    named = {uuid4(): one for one in (*known, *class_of(CABLE, 60, 12))}
    found = chances(named)
    return [found[key] for key in list(named)[: len(known)] if key in found]


def test_one_that_fails_again_and_again_is_worse_than_its_class() -> None:
    ages = Ages(40, 50, 80)
    usual = KnownItem(CABLE, (Life(40, None),), ages)
    repeated = KnownItem(CABLE, (Life(0, 20),) * 3 + (Life(40, None),), ages)
    steady = KnownItem(CABLE, (Life(200, None), Life(40, None)), ages)
    ordinary, bad, good = told(usual, repeated, steady)
    assert good.failed < ordinary.failed < bad.failed
    assert bad.failed > 1.3 * ordinary.failed


@settings(max_examples=10, deadline=None)
@given(st.floats(0, 200), st.floats(0, 100), st.floats(0, 100))
def test_risk_grows_with_the_days_since_the_pass(passed: float, until: float, more: float) -> None:
    lives = (Life(passed, None),) if passed else ()
    now = passed + until / 2
    early, late = told(
        KnownItem(CABLE, lives, Ages(passed, now, passed + until)),
        KnownItem(CABLE, lives, Ages(passed, now, passed + until + more)),
    )
    assert 0 <= early.failed <= late.failed < 1
    assert early.if_tested <= early.failed + 1e-12
    assert early.gain >= -1e-12


def test_a_test_today_leaves_the_days_until_the_event() -> None:
    known = class_of(CABLE, 1, 0)[0]
    as_it_is, on_the_day, tested = told(
        known,
        replace(known, ages=Ages(90, 120, 120)),
        replace(known, lives=(Life(100, None),), ages=Ages(100, 100, 120)),
    )
    assert on_the_day.if_tested == 0
    assert on_the_day.failed == pytest.approx(as_it_is.failed, rel=1e-9)
    assert as_it_is.if_tested == pytest.approx(tested.failed, rel=0.05)  # its pass teaches the class a little, too


def test_a_kind_without_enough_failures_is_judged_with_caution() -> None:
    hub = class_of(HUB, 1, 0)[0]
    (alone,) = told(hub)
    six = told(*class_of(HUB, 6, 0))
    assert 0 < six[0].failed < alone.failed < 0.5
    never_used = KnownItem(HUB, (), Ages(0, 0, 20))
    (unused,) = told(never_used)
    assert 0 < unused.failed < 0.1


def test_what_has_failed_has_no_chance_and_teaches_all_the_same() -> None:
    gone = KnownItem(CABLE, (Life(90, 110),), None)
    usual = class_of(CABLE, 1, 0)[0]
    with_it, without = told(usual, *[gone] * 5), told(usual)
    assert len(with_it) == 1
    assert with_it[0].failed > without[0].failed


chance = st.builds(lambda failed, part: Chance(failed, failed * part), st.floats(0, 0.95), st.floats(0, 1))


@settings(max_examples=30, deadline=None)
@given(st.lists(chance, max_size=8), st.integers(0, 4))
def test_the_items_to_test_first_are_the_best(all_: list[Chance], most: int) -> None:
    in_use: dict[UUID, Chance] = {UUID(int=number): one for number, one in enumerate(all_)}
    found = outlook(in_use, 3, most)

    def then(tested: tuple[UUID, ...]) -> float:
        return math.prod(1 - (one.if_tested if key in tested else one.failed) for key, one in in_use.items())

    best = max((then(some) for n in range(most + 1) for some in combinations(in_use, n)), default=1.0)
    assert found.works_then == pytest.approx(best)
    assert found.works_then == pytest.approx(then(found.first))
    assert found.works == pytest.approx(then(()))
    assert found.failed == pytest.approx(sum(one.failed for one in all_))
    assert found.failed_then == pytest.approx(
        sum(one.if_tested if key in found.first else one.failed for key, one in in_use.items())
    )
    assert (found.items, found.unknown) == (len(all_), 3)
    assert len(found.first) <= most


def test_what_crackled_is_tested_before_what_its_chance_says() -> None:
    """Whatever its chance says, and as far as there are tests."""
    risky, crackled, proven = (UUID(int=number) for number in range(3))
    in_use = {risky: Chance(0.3, 0.0), crackled: Chance(0.02, 0.01), proven: Chance(0.01, 0.01)}
    assert outlook(in_use).first == (risky, crackled)
    assert outlook(in_use, doubted={crackled, proven}).first == (crackled, proven, risky)
    assert outlook(in_use, most=1, doubted={crackled}).first == (crackled,)


def test_many_small_chances_lose_nothing() -> None:
    assert works([1e-12] * 10_000) == pytest.approx(1 - 1e-8, abs=1e-14)
    assert works([]) == 1
    assert outlook({}) == Outlook(0, 0, 1.0, 0.0, (), 1.0, 0.0)
