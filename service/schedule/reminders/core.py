"""The times of letters. Pure.

A letter has a kind and a period, and each person gets at most one of each. The period of a digest is the week (ISO
8601), that of a reminder of a session is the session and its day: for a session that is moved there is another one.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from uuid import UUID
from zoneinfo import ZoneInfo

from service.kit.dates import local_date
from service.season.core import DueState, RoundProgress

MORNING = time(7)
"""Nothing is mailed earlier in the day, in the program's zone."""
AHEAD = timedelta(days=14)
"""How far a digest looks ahead."""
BACK = timedelta(days=7)


class LetterKind(StrEnum):
    """The kind of a letter."""

    DIGEST = "digest"
    SESSION = "session"


@dataclass(frozen=True)
class Coming:
    """An event or a session to come; `href` is its page."""

    on: date
    name: str
    kind: str
    href: str


@dataclass(frozen=True)
class Digest:
    """The state of the program's gear on a day, and what was done in the seven days up to it."""

    today: date
    rounds: Sequence[tuple[str, RoundProgress]]
    due: Mapping[DueState, int]
    quarantined: int
    in_repair: int
    suspect: int
    tested: int
    failed: int
    repaired: int
    coming: Sequence[Coming]

    @property
    def tested_items(self) -> int:
        """How many items have a due state."""
        return sum(self.due.values())


def digest_period(now: datetime, zone: ZoneInfo) -> str:
    """The week whose digest may be sent now: from Monday morning on.

    A week whose Monday was missed gets its digest later in the week; one that is over gets none.
    """
    morning = now - timedelta(hours=MORNING.hour)
    week = local_date(morning, zone).isocalendar()
    return f"{week.year}-W{week.week:02}"


def session_day(now: datetime, zone: ZoneInfo) -> date | None:
    """The day of whose sessions people are reminded now: tomorrow, from the morning on."""
    local = now.astimezone(zone)
    return local.date() + timedelta(days=1) if local.time() >= MORNING else None


def session_period(session_id: UUID, on: date) -> str:
    """The period of the reminder of a session on a day."""
    return f"{session_id}:{on}"
