"""How long a test takes: estimated from the log, else a stated guess. Pure.

A duration is the time from one test to the same helper's next in the same session, walking and writing included, and
counts for the later test's item. The median is used, which long breaks do not affect.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from statistics import median
from uuid import UUID

from service.gear.core import KINDS

SAMPLES_LEAST = 10
"""With fewer durations the guess of the kind is used."""

Like = tuple[str, str]
"""Kind and wiring: items with both the same are taken to need the same time."""


@dataclass(frozen=True, slots=True)
class SessionTest:
    """A test of a session: whose, when, and of what."""

    session: UUID
    helper: UUID
    at: datetime
    like: Like


def usual_seconds(logged: Iterable[SessionTest]) -> dict[Like, int]:
    """The median seconds of a test, by kind and wiring, if there are at least `SAMPLES_LEAST` durations."""
    taken: dict[Like, list[float]] = defaultdict(list)
    last: dict[tuple[UUID, UUID], datetime] = {}
    for test in sorted(logged, key=lambda test: test.at):
        turn = test.session, test.helper
        if turn in last:
            taken[test.like].append((test.at - last[turn]).total_seconds())
        last[turn] = test.at
    return {like: max(1, round(median(times))) for like, times in taken.items() if len(times) >= SAMPLES_LEAST}


def seconds_for(like: Like, usual: Mapping[Like, int]) -> int:
    """The seconds that such an item takes: the median, else the guess of its kind."""
    return usual.get(like, KINDS[like[0]].test_minutes * 60)
