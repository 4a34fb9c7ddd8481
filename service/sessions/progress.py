"""How a session stands: what its page, its live part and its summary show."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from sqlalchemy.orm import Session

from service.sessions import queries
from service.sessions.core import Pace, by_place, ends_at, live, pace, took
from service.sessions.queries import Done, WorklistRow
from service.testlog import queries as log
from service.testlog.core import Verdict
from service.testlog.faults import titles
from service.testlog.models import WorkSession

NOWHERE = "No place"


@dataclass(frozen=True)
class Helper:
    """Somebody who helps: how many items they tested, and which line they are at now."""

    name: str
    tested: int
    at: WorklistRow | None = None


@dataclass(frozen=True)
class Progress:
    """A session as it stands. `tested` has what is besides the list (`extra`) too; `ends` is when it will be done."""

    lines: Sequence[WorklistRow]
    tested: Mapping[UUID, Done]
    extra: Sequence[UUID]
    failed: Sequence[UUID]
    helpers: Sequence[Helper]
    places: Mapping[str, tuple[int, int]]
    pace: Pace
    ends: datetime | None
    took: timedelta

    @property
    def done(self) -> int:
        """How many lines of the list are done."""
        return sum(line.done is not None for line in self.lines)

    @property
    def left(self) -> int:
        """How many lines of the list wait."""
        return len(self.lines) - self.done

    @property
    def sound(self) -> int:
        """How many items were tested without a fault, on the list or besides it."""
        return len(self.tested) - len(self.failed)


def progress(db: Session, session_id: UUID, now: datetime) -> Progress:
    """How a session stands now."""
    lines, tested = queries.worklist(db, session_id), queries.tested(db, session_id)
    listed = {line.item.id for line in lines}
    done = [line.done is not None for line in lines]
    speed = pace([line.done.first_at for line in lines if line.done], now)
    moments = [at for one in tested.values() for at in (one.first_at, one.at)]
    return Progress(
        lines,
        tested,
        extra=[item_id for item_id in tested if item_id not in listed],
        failed=[item_id for item_id, one in tested.items() if one.verdict is Verdict.FAIL],
        helpers=_helpers(db, session_id, lines, tested, now),
        places=by_place([line.item.place or NOWHERE for line in lines], done),
        pace=speed,
        ends=ends_at(done.count(False), speed, now),
        took=took(moments),
    )


def _helpers(
    db: Session, session_id: UUID, lines: Sequence[WorklistRow], tested: Mapping[UUID, Done], now: datetime
) -> list[Helper]:
    """Everybody who helps, those who tested most first, then those who were only sent to a line so far."""
    names = queries.helpers(db, session_id)
    at: dict[UUID, WorklistRow] = {}
    for line in lines:
        claim = live(line.claim, now)
        if claim is not None and line.done is None:
            names.setdefault(claim.by, line.claimed_by)
            at[claim.by] = line
    counted = Counter(one.by_id for one in tested.values())
    return [
        Helper(name, counted[person_id], at.get(person_id))
        for person_id, name in sorted(names.items(), key=lambda one: -counted[one[0]])
    ]


@dataclass(frozen=True)
class Failed:
    """A failed item of a summary: its faults in words, and the test that found them."""

    item_id: UUID
    test_id: UUID
    faults: Sequence[str]


@dataclass(frozen=True)
class Summary:
    """What a closed session comes to: `left` was not tested; `late` items came in after it was closed."""

    failed: Sequence[Failed]
    left: Sequence[WorklistRow]
    notes: Sequence[tuple[UUID, str]]
    late: int


def summary(db: Session, session: WorkSession, stands: Progress) -> Summary:
    """What a session comes to, for whoever reads it next year."""
    test_ids = [one.test_id for one in stands.tested.values()]
    faults, wirings = log.faults_of(db, test_ids), queries.wirings_of(db, test_ids)
    failed = [
        Failed(item_id, test_id, titles(db, wirings[test_id], faults[test_id]))
        for item_id in stands.failed
        for test_id in [stands.tested[item_id].test_id]
    ]
    closed = session.closed_at
    late = sum(closed is not None and one.received_at > closed for one in stands.tested.values())
    left = [line for line in stands.lines if line.done is None]
    return Summary(failed, left, queries.notes_of(db, session.id), late)
