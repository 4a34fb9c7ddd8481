"""Which backups stay: few enough to keep, and never none."""

import doctest
from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from service.store import rotation
from service.store.rotation import Keep, to_keep

START = datetime(2026, 1, 1, tzinfo=UTC)
MOMENTS = st.lists(st.integers(0, 10 * 365 * 24).map(lambda hours: START + timedelta(hours=hours)), min_size=1)
KEEPS = st.builds(Keep, st.integers(0, 9), st.integers(0, 9), st.integers(0, 14))


def test_its_example_is_true() -> None:
    assert doctest.testmod(rotation).failed == 0


@given(MOMENTS, KEEPS)
def test_the_newest_always_stays_and_nothing_is_invented(taken: list[datetime], keep: Keep) -> None:
    stays = to_keep(taken, keep)
    assert max(taken) in stays
    assert stays <= set(taken)
    older = {moment for moment in stays if max(taken) - moment >= timedelta(days=1)}
    assert len(older) <= keep.days + keep.weeks + keep.months


@given(MOMENTS, KEEPS)
def test_what_stays_once_stays_until_newer_ones_come(taken: list[datetime], keep: Keep) -> None:
    stays = to_keep(taken, keep)
    assert to_keep(stays, keep) == stays


@given(MOMENTS, KEEPS)
def test_each_period_that_is_kept_keeps_its_newest(taken: list[datetime], keep: Keep) -> None:
    stays = to_keep(taken, keep)
    months = sorted({(moment.year, moment.month) for moment in taken}, reverse=True)[: keep.months]
    for month in months:
        assert max(moment for moment in taken if (moment.year, moment.month) == month) in stays


@given(st.integers(1, 24))
def test_night_by_night_for_two_years_every_period_stays_covered(hour: int) -> None:
    there: set[datetime] = set()
    first = START + timedelta(hours=hour)
    for night in range(730):
        there = to_keep(there | {first + timedelta(days=night)}, Keep())
    ages = sorted((max(there) - moment).days for moment in there)
    assert ages[:7] == [0, 1, 2, 3, 4, 5, 6]
    assert sum(age <= 28 for age in ages) >= 7 + 2
    assert len({(moment.year, moment.month) for moment in there}) == 12
    assert 300 <= ages[-1] <= 366
    assert len(there) <= 23


@given(st.integers(1, 400))
def test_when_backups_stop_coming_none_is_lost(days: int) -> None:
    taken = {datetime(2026, 9, 1, tzinfo=UTC) + timedelta(days=day) for day in range(5)}
    assert to_keep(taken, Keep()) == taken  # the day of the asking plays no part
    returned = max(taken) + timedelta(days=days)
    assert {returned, max(taken)} <= to_keep(taken | {returned}, Keep())
