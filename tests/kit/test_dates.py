"""Days and instants, over every zone of the tz database. The named skips are in its files `africa`, `asia`,
`northamerica` and `australasia`."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo, available_timezones

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kit.dates import format_date, format_instant, local_date, midnight, parse_date, parse_instant
from service.kit.problems import Invalid
from tests.support.zones import each_once

ZONES = sorted(available_timezones() - {"localtime", "posixrules", "Factory"})
zones = st.sampled_from(ZONES).map(ZoneInfo)
instants = st.datetimes(datetime(2020, 1, 1), datetime(2035, 12, 31), timezones=st.just(UTC))  # noqa: DTZ001
TICK = timedelta(microseconds=1)


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        ("2026-10-06T19:30:00-04:00", datetime(2026, 10, 6, 23, 30, tzinfo=UTC)),
        (" 2026-10-06T23:30Z ", datetime(2026, 10, 6, 23, 30, tzinfo=UTC)),
        ("2026-10-06T23:30:00.123456+00:00", datetime(2026, 10, 6, 23, 30, 0, 123456, tzinfo=UTC)),
        ("1970-01-01T00:00:00+05:45", datetime(1969, 12, 31, 18, 15, tzinfo=UTC)),
    ],
)
def test_it_reads_instants(text: str, instant: datetime) -> None:
    read = parse_instant(text)
    assert read == instant
    assert read.tzinfo is UTC


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("2026-10-06T19:30:00", "lacks its offset"),
        ("2026-10-06", "lacks its offset"),
        ("tomorrow", "write it like 2026-10-06T19:30:00-04:00"),
        ("2026-02-30T00:00Z", "not a moment"),
        ("2026-10-06T23:59:60Z", "not a moment"),
        ("0001-01-01T00:00+14:00", "The year 1 is not between"),
        ("9999-12-31T23:59-12:00", "The year 9999 is not between"),
    ],
)
def test_it_refuses_instants_it_would_have_to_guess(text: str, says: str) -> None:
    with pytest.raises(Invalid) as refusal:
        parse_instant(text, "tested_at")
    assert says in refusal.value.errors["tested_at"]


@given(st.datetimes(datetime(1900, 1, 2), datetime(2199, 12, 30), timezones=st.timezones()))  # noqa: DTZ001
def test_an_instant_survives_being_written(instant: datetime) -> None:
    assert parse_instant(instant.isoformat()) == instant.astimezone(UTC)


def test_it_reads_dates() -> None:
    assert parse_date(" 2026-10-06 ") == date(2026, 10, 6)


@pytest.mark.parametrize("text", ["", "20261006", "2026-W41-2", "2026-02-29", "10/6/2026", "0000-01-01", "2026-1-1"])
def test_it_refuses_what_is_no_date(text: str) -> None:
    with pytest.raises(Invalid, match="write it like 2026-10-06"):
        parse_date(text)


def test_it_refuses_a_year_that_is_a_slip() -> None:
    with pytest.raises(Invalid, match="check the date"):
        parse_date("0206-10-06")


@given(zones, instants)
def test_every_instant_falls_between_two_midnights(zone: ZoneInfo, instant: datetime) -> None:
    day = local_date(instant, zone)
    assert midnight(day, zone) <= instant < midnight(day + timedelta(days=1), zone)


def test_midnight_is_the_first_instant_of_every_day_near_a_change_of_the_clock() -> None:
    mondays = [date(2019, 12, 30) + timedelta(weeks=week) for week in range(16 * 53)]
    for zone in map(ZoneInfo, each_once()):
        for day in (day for monday in mondays for day in days_of_change(monday, zone)):
            start = midnight(day, zone)
            assert local_date(start, zone) == day, zone
            assert local_date(start - TICK, zone) == day - timedelta(days=1), zone


def days_of_change(monday: date, zone: ZoneInfo) -> list[date]:
    """The days of a week and its neighbors in which the offset from UTC changes; else the first Monday of a month."""
    ends = [datetime.combine(monday + timedelta(days=days), time(), zone).utcoffset() for days in (0, 7)]
    if ends[0] == ends[1]:
        return [monday] if monday.day <= 7 else []
    return [monday + timedelta(days=days) for days in range(-1, 9)]


@pytest.mark.parametrize(
    ("zone", "day", "start"),
    [
        ("America/New_York", date(2026, 10, 6), datetime(2026, 10, 6, 4, tzinfo=UTC)),
        ("Africa/Cairo", date(2026, 4, 24), datetime(2026, 4, 23, 22, tzinfo=UTC)),
        ("Asia/Beirut", date(2026, 3, 29), datetime(2026, 3, 28, 22, tzinfo=UTC)),
        ("America/Havana", date(2026, 3, 8), datetime(2026, 3, 8, 5, tzinfo=UTC)),
        ("America/Havana", date(2026, 11, 1), datetime(2026, 11, 1, 4, tzinfo=UTC)),
        ("America/Toronto", date(1919, 3, 31), datetime(1919, 3, 31, 4, 30, tzinfo=UTC)),
        ("Pacific/Apia", date(2011, 12, 30), datetime(2011, 12, 30, 10, tzinfo=UTC)),
        ("Pacific/Apia", date(2011, 12, 31), datetime(2011, 12, 30, 10, tzinfo=UTC)),
    ],
)
def test_days_that_start_oddly(zone: str, day: date, start: datetime) -> None:
    assert midnight(day, ZoneInfo(zone)) == start


@pytest.mark.parametrize(
    ("hour", "shown"),
    [
        (4, "Tue Oct 6, 12:00 am"),
        (13, "Tue Oct 6, 9:00 am"),
        (16, "Tue Oct 6, 12:00 pm"),
        (23, "Tue Oct 6, 7:00 pm"),
    ],
)
def test_it_shows_instants_on_the_local_clock(hour: int, shown: str) -> None:
    instant = datetime(2026, 10, 6, hour, tzinfo=UTC)
    assert format_instant(instant, ZoneInfo("America/New_York"), date(2026, 1, 1)) == shown


def test_another_year_is_said() -> None:
    assert format_date(date(2025, 10, 6), date(2026, 1, 1)) == "Mon Oct 6, 2025"


def test_a_naive_datetime_is_a_mistake_of_ours() -> None:
    with pytest.raises(ValueError, match="naive"):
        local_date(datetime(2026, 10, 6), ZoneInfo("America/New_York"))  # noqa: DTZ001
