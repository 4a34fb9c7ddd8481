"""Instants and local days. Instants are aware and in UTC, days are dates in the program's zone.

A local day runs from its `midnight` to that of the next day. Where the clock skips midnight (Cairo, Beirut, Havana
in spring), the day starts with the first time that the clock shows.
"""

import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from service.kit.problems import invalid
from service.kit.text import plain

_YEARS = range(1900, 2200)
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def parse_instant(text: str, field: str = "at") -> datetime:
    """The instant in UTC that ISO 8601 `text` with an offset names; raises `Invalid` for `field`."""
    typed = text.strip()
    try:
        instant = datetime.fromisoformat(typed)
    except ValueError as error:
        raise invalid(field, f"“{typed[:40]}” is not a moment; write it like 2026-10-06T19:30:00-04:00.") from error
    if instant.utcoffset() is None:
        raise invalid(field, f"“{typed}” lacks its offset from UTC; end it with Z or like -04:00.")
    if instant.year not in _YEARS:
        raise invalid(field, f"The year {instant.year} is not between 1900 and 2199; check the date.")
    return instant.astimezone(UTC)


def parse_date(text: str, field: str = "date") -> date:
    """The day that `YYYY-MM-DD` names; raises `Invalid` for `field`."""
    typed = plain(text)
    try:
        if not re.fullmatch(r"\d{4}-\d\d-\d\d", typed):
            raise ValueError
        day = date.fromisoformat(typed)
    except ValueError as error:
        raise invalid(field, f"“{typed[:40]}” is not a date; write it like 2026-10-06.") from error
    if day.year not in _YEARS:
        raise invalid(field, f"The year {day.year} is not between 1900 and 2199; check the date.")
    return day


def local_date(instant: datetime, zone: ZoneInfo) -> date:
    """The day on the calendar in `zone` at `instant`."""
    return _local(instant, zone).date()


def midnight(day: date, zone: ZoneInfo) -> datetime:
    """The first instant, in UTC, at which the calendar in `zone` shows `day`.

    A whole day that a zone skipped (Apia, December 30, 2011) is empty: it starts when the next day does.
    """
    wall = datetime.combine(day, time.min, zone)
    after = wall.astimezone(UTC)
    if _local(after, zone).replace(tzinfo=None) == wall.replace(tzinfo=None):
        return after
    # The clock skips midnight. Read with the offset after the skip, it names an instant before the skip.
    before = wall.replace(fold=1).astimezone(UTC)
    while after - before > timedelta(seconds=1):
        middle = before + timedelta(seconds=(after - before) // timedelta(seconds=2))
        if local_date(middle, zone) < day:
            before = middle
        else:
            after = middle
    return after


def format_date(day: date, today: date) -> str:
    """A day for people, like `Tue Oct 6`, with its year if that is not the present one."""
    shown = f"{_WEEKDAYS[day.weekday()]} {_MONTHS[day.month - 1]} {day.day}"
    return shown if day.year == today.year else f"{shown}, {day.year}"


def format_instant(instant: datetime, zone: ZoneInfo, today: date) -> str:
    """An instant for people, in the local time of `zone`, like `Tue Oct 6, 7:30 pm`."""
    local = _local(instant, zone)
    half = "am" if local.hour < 12 else "pm"
    return f"{format_date(local.date(), today)}, {local.hour % 12 or 12}:{local.minute:02} {half}"


def _local(instant: datetime, zone: ZoneInfo) -> datetime:
    if instant.utcoffset() is None:
        raise ValueError(f"{instant!r} is naive: an instant knows its offset from UTC.")
    return instant.astimezone(zone)
