"""Writing the tests of a sheet: the plan of what an import writes, and writing it."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.core import Who
from service.crew.queries import note_in_audit
from service.exchange.sheets.core.row_status import PlannedRow, RepairQuestion
from service.gear.core import ItemState
from service.store.drafts import FollowUp
from service.testlog.bulk_logging import Past, log_past

REASON = "Tests were brought in from a sheet."


@dataclass
class TestsPlan:
    """The plan of an import of tests: the status of each row, what it would write, and how many of its items end in
    which state.

    `last` is the latest instant in the sheet for each item. `question` is what somebody has to answer first, None if
    there is nothing to ask.
    """

    rows: list[PlannedRow] = field(default_factory=list)
    past: list[Past] = field(default_factory=list)
    ends: Counter[ItemState] = field(default_factory=Counter)
    last: dict[UUID, datetime] = field(default_factory=dict)
    question: RepairQuestion | None = None


def write(db: Session, plan: TestsPlan, who: Who | None, now: datetime, zone: ZoneInfo) -> list[FollowUp]:
    """Write a plan in the session's transaction; returns the follow-ups."""
    follow_ups = log_past(db, plan.past, who, now, zone, REASON)
    tests = sum(one.test is not None for one in plan.past)
    counts = {"tests": tests, "repairs": len(plan.past) - tests}
    note_in_audit(db, now, who.id if who else None, "tests.imported", f"{len(plan.rows)} rows", counts)
    return follow_ups
