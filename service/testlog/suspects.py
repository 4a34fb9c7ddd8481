"""Which of the pieces that a failed test went through may be the bad one. Pure."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from uuid import UUID

from service.season.core import What
from service.testlog.core import LogEntry, lanes_of_item
from service.testlog.reach import ONE_LINE


def through_suspects(
    entry: UUID, at: datetime, items: Sequence[UUID], histories: Mapping[UUID, Sequence[LogEntry]]
) -> dict[UUID, frozenset[str]]:
    """The items that a failed test through several still leaves suspect, each with its suspect lanes.

    A lane is cleared for all of them once the bad item is known: one that fails alone there afterwards, or had an open
    fault there at the time. Otherwise the items are suspect that have not passed on the lane since.
    """
    hits = {item: _hits(entry, histories[item]) for item in items}
    names = frozenset[str]().union(*hits.values())
    # If all pieces have lanes, each lane counts by itself; a piece with a single channel lies on whatever failed.
    side_by_side = all(lanes_of_item(histories[item]) != ONE_LINE for item in items)
    ways = [frozenset([lane]) for lane in names] if side_by_side else [names]
    left: dict[UUID, frozenset[str]] = {}
    for way in ways:
        on_way = {item: hits[item] & way for item in items if hits[item] & way}
        if not any(_clears(entry, at, lanes, histories[item]) for item, lanes in on_way.items()):
            for item, lanes in on_way.items():
                since = [event for event in histories[item] if event.at > at]
                open_yet = {lane for lane in lanes if not any(event.proved(lane) for event in since)}
                if open_yet:
                    left[item] = left.get(item, frozenset()) | open_yet
    return left


def _hits(entry: UUID, history: Sequence[LogEntry]) -> frozenset[str]:
    event = next((event for event in history if event.entry == entry), None)
    return event.hits if event else frozenset()


def _clears(entry: UUID, at: datetime, lanes: frozenset[str], history: Sequence[LogEntry]) -> bool:
    """Whether an item is known to be the bad one of a test: it had an open fault at the time, or failed alone since."""
    before = [event for event in history if event.at <= at and event.entry != entry]
    mended = max((number for number, event in enumerate(before, 1) if event.what is What.REPAIR), default=0)
    since = (event for event in history if event.at > at)
    return any(event.failed_on(lanes) for event in (*before[mended:], *since))
