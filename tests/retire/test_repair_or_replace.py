"""Repair or replace: the cheaper choice, its sums worked by hand, and what a missing price leaves open."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.retire.repair_or_replace.core import (
    Choice,
    ComparedCosts,
    Expected,
    Horizon,
    PriceSource,
    RepairPrice,
    choice_in_words,
    days_of_season,
    horizon,
)

TODAY = date(2026, 10, 1)
FALL, SPRING = ("Fall", date(2026, 9, 1), date(2026, 11, 30)), ("Spring", date(2027, 3, 1), date(2027, 5, 29))
cents = st.integers(0, 20_000)
counts = st.floats(0, 20)
chance = st.none() | st.floats(0, 1)


def expectations(bad: st.SearchStrategy[float | None] = chance) -> st.SearchStrategy[Expected]:
    return st.builds(Expected, bad, st.floats(0, 1), counts)


def compared(repair: int, new: int | None, repaired: Expected, fresh: Expected, limit: float = 0.1) -> ComparedCosts:
    return ComparedCosts(RepairPrice(repair), new, repaired, fresh, limit)


def cost(told: ComparedCosts, choice: Choice | None) -> float:
    course = told.repair if choice is Choice.REPAIR else told.replace
    assert course is not None
    return course.now + course.later


def other(choice: Choice | None) -> Choice:
    return Choice.REPLACE if choice is Choice.REPAIR else Choice.REPAIR


def test_costs_worked_by_hand() -> None:
    """A repair of $6.00 that lasts so that 0.5 more are expected: 6 + 0.5 × 6; a new one of $18.50: 18.50 + 0.1 × 6."""
    told = compared(600, 1850, Expected(0.02, 0.4, 0.5), Expected(0.01, 0.1, 0.1))
    assert (told.repair and told.repair.cents, told.replace and told.replace.cents) == (900, 1910)
    assert told.better is Choice.REPAIR
    dear = compared(2500, 1850, Expected(0.02, 0.4, 0.5), Expected(0.01, 0.1, 0.1))
    # What fails later is replaced, for a new one costs less: 25 + 0.5 × 18.50 against 18.50 + 0.1 × 18.50.
    assert (dear.repair and dear.repair.cents, dear.replace and dear.replace.cents) == (3425, 2035)
    assert dear.better is Choice.REPLACE


@given(cents, cents, expectations(), expectations(), st.floats(0, 1))
def test_the_dearer_choice_is_only_ever_taken_for_a_much_smaller_risk(
    repair: int, new: int, repaired: Expected, fresh: Expected, limit: float
) -> None:
    told = compared(repair, new, repaired, fresh, limit)
    if cost(told, told.better) > cost(told, other(told.better)):
        mine, theirs = (repaired, fresh) if told.better is Choice.REPAIR else (fresh, repaired)
        assert mine.bad is not None
        assert theirs.bad is not None
        assert mine.bad < limit <= theirs.bad
        assert mine.bad <= theirs.bad / 2


def test_keeping_it_costs_what_fails_later_and_is_left_only_for_a_much_smaller_risk() -> None:
    """Kept: 0.2 × $6.00. It is worn past the limit, and a repair, the cheapest that is safe, makes it much safer."""
    repaired, fresh = Expected(0.02, 0.1, 0.1), Expected(0.01, 0.1, 0.1)
    sound, worn = (
        ComparedCosts(RepairPrice(600), 1850, repaired, fresh, 0.1, None, kept)
        for kept in (
            Expected(0.05, 0.2, 0.2),
            Expected(0.3, 0.5, 0.6),
        )
    )
    assert sound.keep is not None
    assert sound.keep.cents == 120
    assert (sound.cheapest, sound.better) == (Choice.KEEP, Choice.KEEP)
    assert (worn.cheapest, worn.better) == (Choice.KEEP, Choice.REPAIR)
    assert list(compared(600, 1850, repaired, fresh).courses) == [Choice.REPAIR, Choice.REPLACE]  # it failed


@given(cents, cents, expectations(), expectations(), expectations(), st.floats(0, 1))
def test_what_is_taken_in_place_of_the_cheapest_is_much_safer_and_the_cheapest_of_those(
    repair: int, new: int, repaired: Expected, fresh: Expected, kept: Expected, limit: float
) -> None:
    told = ComparedCosts(RepairPrice(repair), new, repaired, fresh, limit, None, kept)
    assert told.cheapest is not None
    assert told.better is not None
    costs = {choice: course.now + course.later for choice, course in told.courses.items()}
    assert costs[told.cheapest] == min(costs.values())
    if told.better is not told.cheapest:
        mine, theirs = (told.courses[choice].expected.bad for choice in (told.better, told.cheapest))
        assert mine is not None
        assert theirs is not None
        assert mine < limit <= theirs
        assert mine <= theirs / 2


@given(cents, cents, expectations(), expectations(), st.floats(0, 1), st.floats(0, 1))
def test_at_equal_risk_the_choice_is_never_the_dearer(
    repair: int, new: int, repaired: Expected, fresh: Expected, limit: float, bad: float
) -> None:
    alike, too = (Expected(bad, each.fails, each.failures) for each in (repaired, fresh))
    told = compared(repair, new, alike, too, limit)
    assert cost(told, told.better) <= cost(told, other(told.better))


@given(cents, cents, st.integers(1, 5_000), expectations(), expectations(), st.floats(0, 1))
def test_a_dearer_new_one_never_turns_a_repair_into_a_replacement(
    repair: int, new: int, more: int, repaired: Expected, fresh: Expected, limit: float
) -> None:
    if compared(repair, new, repaired, fresh, limit).better is Choice.REPAIR:
        assert compared(repair, new + more, repaired, fresh, limit).better is Choice.REPAIR


@given(cents, cents, st.integers(1, 5_000), expectations(), expectations(), st.floats(0, 1))
def test_a_dearer_repair_never_turns_a_replacement_into_a_repair(
    repair: int, new: int, more: int, repaired: Expected, fresh: Expected, limit: float
) -> None:
    if compared(repair, new, repaired, fresh, limit).better is Choice.REPLACE:
        assert compared(repair + more, new, repaired, fresh, limit).better is Choice.REPLACE


@given(cents, expectations(), expectations())
def test_an_unknown_price_is_no_price_and_leaves_the_choice_open(
    repair: int, repaired: Expected, fresh: Expected
) -> None:
    told = compared(repair, None, repaired, fresh)
    assert told.replace is None
    assert told.better is None
    assert told.later_cents == repair
    assert "nobody entered what a new one costs" in choice_in_words(told, TODAY) or told.until is None


def test_a_repair_and_a_new_one_that_cost_nothing_count_as_nothing() -> None:
    wears = Expected(0.02, 0.4, 0.5), Expected(0.01, 0.1, 0.1)
    assert compared(0, 1850, *wears).better is Choice.REPAIR
    assert compared(600, 0, *wears).better is Choice.REPLACE
    free = compared(0, 0, *wears)
    assert (free.better, free.repair and free.repair.cents) == (Choice.REPLACE, 0)  # it fails less often


def test_the_dearer_choice_says_for_which_risk_it_is_taken() -> None:
    lemon, fresh = Expected(0.23, 0.96, 5.1), Expected(0.005, 0.12, 0.13)
    told = ComparedCosts(RepairPrice(600), 14500, lemon, fresh, 0.1, Horizon("Spring", SPRING[2], 140))
    assert (told.cheapest, told.better) == (Choice.REPAIR, Choice.REPLACE)
    assert choice_in_words(told, TODAY) == (
        "Replace it, though that costs more: 23.0 % chance that it is bad at the event if it is repaired, 0.5 % for a "
        "new one (limit 10 %). A repair is $6.00 (our default), a new one $145.00; until the end of Spring, Sat May "
        "29, 2027, they come to about $36.60 and $145.78 with later repairs. Chance that it fails by then: 96 % "
        "repaired, 12 % new."
    )


@pytest.mark.parametrize(
    ("source", "said"),
    [
        (PriceSource.LEAD, "$6.00,"),
        (PriceSource.DEFAULT, "$6.00 (our default),"),
        (PriceSource.LOG, "$6.00 (mean of 4"),
    ],
)
def test_what_a_repair_comes_to_says_by_whom(source: PriceSource, said: str) -> None:
    wears = Expected(0.02, 0.4, 0.5), Expected(0.01, 0.1, 0.1)
    told = ComparedCosts(RepairPrice(600, source, 4), 1850, *wears, 0.1, Horizon("", None, 140))
    assert f"A repair is {said}" in choice_in_words(told, TODAY)
    assert "until the end of a next season as long as this one, they" in choice_in_words(told, TODAY)


def test_choices_are_compared_until_the_next_season_ends() -> None:
    assert horizon([SPRING, FALL], TODAY) == Horizon(
        "Spring", SPRING[2], 60 + 90
    )  # October 2 to November 30, and Spring
    assert horizon([SPRING, FALL], date(2027, 1, 1)) == Horizon("Spring", SPRING[2], 90)  # none runs now
    assert horizon([FALL], TODAY) == Horizon("", None, 60 + 91)  # one as long as this
    assert horizon([FALL], date(2027, 1, 1)) == Horizon("", None, 91)
    assert horizon([], TODAY) is None


@given(st.lists(st.tuples(st.integers(0, 60), st.integers(0, 40)), max_size=5), st.integers(0, 80), st.integers(0, 80))
def test_days_of_season_are_counted_once(seasons: list[tuple[int, int]], after: int, until: int) -> None:
    first = date(2026, 1, 1).toordinal()
    days = [(date.fromordinal(first + start), date.fromordinal(first + start + long)) for start, long in seasons]
    each = {day for start, long in seasons for day in range(start, start + long + 1) if after < day <= until}
    named = [("", starts, ends) for starts, ends in days]
    assert days_of_season(named, date.fromordinal(first + after), date.fromordinal(first + until)) == len(each)
