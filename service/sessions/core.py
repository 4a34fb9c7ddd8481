"""What a session decides: who tests which line next, how fast it goes, and when it will be done. Pure."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

CLAIM_LASTS = timedelta(minutes=5)
"""How long a line is kept for the helper who was sent to it: a test takes one minute, a lost cable three."""

LATELY = timedelta(minutes=10)
"""What counts as lately for the pace: long enough to walk from one frame to the next."""


@dataclass(frozen=True)
class Claim:
    """Who said that they would test a line, and until when that counts."""

    by: UUID
    until: datetime


@dataclass(frozen=True)
class Turn:
    """A line of a worklist, as far as whose turn it is depends on it."""

    item: UUID
    done: bool
    claim: Claim | None = None

    def free_for(self, who: UUID, now: datetime) -> bool:
        """Whether the line waits for its test, and nobody else is at it."""
        return not self.done and (self.claim is None or self.claim.by == who or self.claim.until <= now)


def live(claim: Claim | None, now: datetime) -> Claim | None:
    """The claim, if it has not lapsed: it does at its last moment."""
    return claim if claim is not None and claim.until > now else None


def nearest(turns: Sequence[Turn], who: UUID, last: UUID | None, now: datetime) -> Turn | None:
    """The line that somebody tests next: of those that nobody else is at, the nearest on the walk to their last one.

    `turns` are in walking order. Of two equally near the one ahead is taken; without a last one, the first of the walk.
    A line that `who` claimed and has not tested yet is a later choice than one that they never were sent to: its test
    may be on its way.
    """
    at = next((index for index, turn in enumerate(turns) if turn.item == last), 0)
    free = [
        (live(turn.claim, now) is not None, abs(index - at), -index, turn)
        for index, turn in enumerate(turns)
        if turn.item != last and turn.free_for(who, now)
    ]
    return min(free, key=lambda one: one[:3])[3] if free else None


@dataclass(frozen=True)
class Pace:
    """Items per minute: over the last ten minutes, and since the first test of the session."""

    lately: float
    overall: float

    @property
    def now(self) -> float:
        """The pace to reckon with: what it was lately, unless everybody rested."""
        return self.lately or self.overall


def pace(tested_at: Collection[datetime], now: datetime) -> Pace:
    """The pace, by when each item was first tested.

    Of twelve items, the first 30 minutes ago and four within the last ten: 0.4 a minute both ways. A session that is
    younger than ten minutes is reckoned from its first test, and anything younger than a minute as one minute.
    """
    past = [at for at in tested_at if at <= now]
    if not past:
        return Pace(0.0, 0.0)
    since_first = max(now - min(past), timedelta(minutes=1))
    window = min(LATELY, since_first)
    recent = sum(now - at <= window for at in past)
    return Pace(recent / _minutes(window), len(past) / _minutes(since_first))


def ends_at(left: int, speed: Pace, now: datetime) -> datetime | None:
    """When the last of `left` items is done at this pace; None where nothing is left, or nothing was done yet."""
    if not left or not speed.now:
        return None
    return now + timedelta(minutes=left / speed.now)


def took(moments: Collection[datetime]) -> timedelta:
    """The time from the first of these moments to the last."""
    return max(moments) - min(moments) if moments else timedelta(0)


def in_words(time: timedelta) -> str:
    """A stretch of time to read: "less than a minute", "1 minute", "2 h 5 min"."""
    minutes = round(time / timedelta(minutes=1))
    if minutes < 60:
        return {0: "less than a minute", 1: "1 minute"}.get(minutes, f"{minutes} minutes")
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def minutes_in_words(seconds: int) -> str:
    """Seconds in whole minutes, rounded up: nobody plans to the second."""
    return in_words(timedelta(minutes=-(-seconds // 60)))


def by_place(places: Sequence[str], done: Sequence[bool]) -> Mapping[str, tuple[int, int]]:
    """How many of the lines at each place are done, and how many there are, in the order of the walk."""
    counted: dict[str, tuple[int, int]] = {}
    for place, is_done in zip(places, done, strict=True):
        so_far, of = counted.get(place, (0, 0))
        counted[place] = (so_far + is_done, of + 1)
    return counted


def _minutes(time: timedelta) -> float:
    return time / timedelta(minutes=1)
