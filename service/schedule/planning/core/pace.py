"""How long a test takes: as long as it took before, else a stated guess. Pure.

What it took is the time from one test to the same helper's next in the same session, walking and writing included;
it counts for the item that was tested last. Half of them took longer than the median, so one long break spoils
nothing.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from statistics import median
from uuid import UUID

from service.gear.core import KINDS

SAMPLES_LEAST = 10
"""Times taken from fewer tests say too little, and the guess of the kind holds."""

Like = tuple[str, str]
"""Kind and wiring: what is alike takes alike."""


@dataclass(frozen=True, slots=True)
class SessionTest:
    """A test of a session: whose, when, and of what."""

    session: UUID
    helper: UUID
    at: datetime
    like: Like


def usual_seconds(logged: Iterable[SessionTest]) -> dict[Like, int]:
    """The median seconds that an item takes, by kind and wiring, where ten or more tell it."""
    taken: dict[Like, list[float]] = defaultdict(list)
    last: dict[tuple[UUID, UUID], datetime] = {}
    for test in sorted(logged, key=lambda test: test.at):
        turn = test.session, test.helper
        if turn in last:
            taken[test.like].append((test.at - last[turn]).total_seconds())
        last[turn] = test.at
    return {like: max(1, round(median(times))) for like, times in taken.items() if len(times) >= SAMPLES_LEAST}


def seconds_for(like: Like, usual: Mapping[Like, int]) -> int:
    """How long such an item takes: what it took before, else the guess of its kind."""
    return usual.get(like, KINDS[like[0]].test_minutes * 60)
