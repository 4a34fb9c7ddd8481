"""What is due changes at the program’s own midnight and only there: all zones, 2020 to 2035, clock changes included."""

from datetime import UTC, date, datetime, timedelta
from functools import cache
from itertools import pairwise
from zoneinfo import ZoneInfo, available_timezones

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kit.dates import local_date, midnight
from service.season.core import DueState, HistoryEntry, Round, Season, What, due, next_change
from tests.support.zones import each_once

ZONES = sorted(available_timezones())
RULES = each_once()
FIRST, LAST = date(2020, 1, 1), date(2035, 12, 31)
DAY, TICK = timedelta(days=1), timedelta(microseconds=1)


@cache
def changes(zone: str) -> list[date]:
    """The days on which a zone's clock is changed, and those beside them."""
    where = ZoneInfo(zone)

    def offset(day: date) -> timedelta | None:
        return datetime(day.year, day.month, day.day, 12, tzinfo=UTC).astimezone(where).utcoffset()

    changed = set()
    for number in range(0, (LAST - FIRST).days, 7):
        week = [FIRST + DAY * (number + day) for day in range(8)]
        if offset(week[0]) != offset(week[-1]):
            changed |= {day for was, day in pairwise(week) if offset(was) != offset(day)}
    return sorted({day + DAY * off for day in changed for off in (-1, 0, 1)})


def in_round(opens: date) -> Season:
    """Two rounds, the second of which opens on this day."""
    starts, ends = opens - 60 * DAY, opens + 60 * DAY
    return Season(starts, ends, (Round(starts, opens), Round(opens, ends + DAY)))


def state_at(at: datetime, zone: ZoneInfo, season: Season) -> DueState:
    """The state at an instant of an item that passed in the first round."""
    passed = HistoryEntry(season.starts + 10 * DAY, What.PASS)
    return due(season, season.starts, [passed], local_date(at, zone)).state


@pytest.mark.parametrize("region", sorted({zone.partition("/")[0] for zone in RULES}))
def test_a_round_opens_at_midnight_on_every_day_of_a_clock_change(region: str) -> None:
    for name in (zone for zone in RULES if zone.partition("/")[0] == region):
        zone = ZoneInfo(name)
        for day in changes(name):
            turns = midnight(day, zone)
            season = in_round(day)
            assert state_at(turns - TICK, zone, season) is DueState.CURRENT, (name, day)
            assert state_at(turns, zone, season) is DueState.DUE, (name, day)


@given(st.sampled_from(ZONES).map(ZoneInfo), st.dates(FIRST, LAST), st.integers(0, 30 * 3600), st.data())
def test_a_state_changes_at_midnight_and_only_there(
    zone: ZoneInfo, day: date, seconds: int, data: st.DataObject
) -> None:
    days = changes(zone.key)
    near = bool(days) and data.draw(st.booleans(), "near a clock change")
    if near:
        day = data.draw(st.sampled_from(days), "day")
    season = in_round(day)
    turns = midnight(day, zone)
    assert turns.tzinfo is UTC
    for at in (turns - timedelta(seconds=seconds) - TICK, turns + timedelta(seconds=seconds)):
        expected = DueState.DUE if at >= turns else DueState.CURRENT
        assert state_at(at, zone, season) is expected
    passed = [HistoryEntry(season.starts + 10 * DAY, What.PASS)]
    before = local_date(turns - TICK, zone)
    assert next_change([season], season.starts, passed, before) == day  # so the cache lasts until that midnight


@given(st.sampled_from(ZONES).map(ZoneInfo), st.dates(FIRST, LAST - DAY))
def test_days_follow_each_other_without_gap_or_overlap(zone: ZoneInfo, day: date) -> None:
    begins, ends = midnight(day, zone), midnight(day + DAY, zone)
    assert timedelta(hours=21) <= ends - begins <= timedelta(hours=27)
    assert (local_date(begins, zone), local_date(ends - TICK, zone)) == (day, day)
