"""The calendar feed: entries of whole days, written as iCalendar (RFC 5545). Pure.

Its readers go by `UID` to know an entry again, by `SEQUENCE` to see that it changed, and fetch it every twelve
hours or so (`REFRESH-INTERVAL`, RFC 7986; older programs read `X-PUBLISHED-TTL`).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from service.kit.text import one_line

if TYPE_CHECKING:
    from icalendar import Event

REFRESH = timedelta(hours=12)


@dataclass(frozen=True)
class CalendarEntry:
    """An entry of one day; `uid` never changes, `sequence` grows with each change, `changed_at` is the last change."""

    uid: str
    on: date
    summary: str
    sequence: int
    changed_at: datetime
    category: str
    place: str = ""
    url: str = ""


def feed(name: str, entries: Iterable[CalendarEntry]) -> bytes:
    """The calendar called `name`; the same entries give the same octets."""
    from icalendar import Calendar  # only who reads a calendar waits for the library

    calendar = Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", "-//Coilbook//Season and sessions//EN")
    calendar.add("method", "PUBLISH")
    for property_name in ("name", "x-wr-calname"):
        calendar.add(property_name, one_line(name))
    # By default the library writes neither of the two as RFC 7986 and its readers require.
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", "PT12H")
    for entry in entries:
        calendar.add_component(_event(entry))
    written: bytes = calendar.to_ical()
    return written


def _event(entry: CalendarEntry) -> "Event":
    from icalendar import Event

    event = Event()
    event.add("uid", entry.uid)
    event.add("dtstamp", entry.changed_at)  # of a published entry: when it last changed (RFC 5545, 3.8.7.2)
    event.add("last-modified", entry.changed_at)
    event.add("sequence", entry.sequence)
    event.add("summary", one_line(entry.summary))
    event.add("dtstart", entry.on)
    event.add("dtend", entry.on + timedelta(days=1))  # the first day that is no longer part of it
    event.add("transp", "TRANSPARENT")  # it does not mark the day as busy
    event.add("categories", [entry.category])
    if entry.place:
        event.add("location", one_line(entry.place))
    if entry.url:
        event.add("url", entry.url)
    return event
