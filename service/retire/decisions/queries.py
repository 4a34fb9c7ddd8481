"""Every look-up about decisions: thresholds, a lead's word, and what the log says against an item."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from service.crew.models import Person
from service.gear.core import End
from service.gear.models import Item
from service.retire.decisions.core import Action
from service.retire.decisions.models import Overrule, PullLimits
from service.testlog.core import Verdict
from service.testlog.history_cache import of_each_item
from service.testlog.models import FaultRow, Repair, Test, TestItem, Void
from service.testlog.queries import THROUGH_SEVERAL
from service.wiring.faults import FaultClass

REPAIRS_ENOUGH = 3
"""Repairs with a cost that a kind needs before its own mean counts (common practice, no source)."""


@dataclass
class Failure:
    """A failed test of one item alone: when, at which ends if it told, and at which a contact was bent.

    `bent` holds None where the end was not said.
    """

    at: datetime
    ends: set[End] = field(default_factory=set)
    bent: set[End | None] = field(default_factory=set)


@dataclass(frozen=True)
class LeadDecision:
    """A lead's word on a line: what to do instead, None where they took it back; why, who and when."""

    action: Action | None
    reason: str
    by: str
    at: datetime


def limits(db: Session) -> PullLimits | None:
    """The program's thresholds, once they were set."""
    return db.get(PullLimits, 1)


def words(db: Session, event_id: UUID, item_id: UUID | None = None) -> dict[UUID, list[LeadDecision]]:
    """What leads said of the lines of an event's list (of one item, if given), the last first."""
    query = (
        select(Overrule.item_id, Overrule.action, Overrule.reason, Person.display_name, Overrule.at)
        .outerjoin(Person, Person.id == Overrule.person_id)
        .where(Overrule.event_id == event_id)
        .order_by(Overrule.id.desc())
    )
    if item_id is not None:
        query = query.where(Overrule.item_id == item_id)
    found: dict[UUID, list[LeadDecision]] = defaultdict(list)
    for item, action, reason, by, at in db.execute(query):
        found[item].append(LeadDecision(Action(action) if action else None, reason, by or "", at))
    return found


def failures(db: Session) -> dict[UUID, list[Failure]]:
    """The failed tests that stand, of one item alone, in time order, of every item that has any."""
    return of_each_item(db, "failures", _failures)


def _failures(db: Session, item_ids: Collection[UUID]) -> dict[UUID, list[Failure]]:
    query = (
        select(TestItem.item_id, Test.id, Test.tested_at, FaultRow.end, FaultRow.fault_class, FaultRow.detail)
        .join(Test, Test.id == TestItem.test_id)
        .outerjoin(Void, Void.test_id == Test.id)
        .outerjoin(FaultRow, FaultRow.test_id == Test.id)
        .where(
            TestItem.item_id.in_(item_ids),
            Test.verdict == Verdict.FAIL,
            Void.test_id.is_(None),
            ~THROUGH_SEVERAL,
        )
        .order_by(Test.tested_at, Test.id)
    )
    found: dict[UUID, dict[UUID, Failure]] = defaultdict(dict)
    for item_id, test_id, at, end, fault_class, detail in db.execute(query):
        failure = found[item_id].setdefault(test_id, Failure(at))
        if end is not None:
            failure.ends.add(End(end))
        if fault_class == FaultClass.DAMAGE and "bent" in str((detail or {}).get("note", "")).lower():
            failure.bent.add(End(end) if end else None)
    return {item_id: list(tests.values()) for item_id, tests in found.items()}


def repaired_ends(db: Session) -> dict[UUID, list[tuple[datetime, End]]]:
    """When each item was repaired at which end, in time order; what was never repaired at an end is left out."""
    return of_each_item(db, "repaired ends", _repaired_ends)


def _repaired_ends(db: Session, item_ids: Collection[UUID]) -> dict[UUID, list[tuple[datetime, End]]]:
    query = select(Repair.item_id, Repair.at, Repair.end).where(Repair.item_id.in_(item_ids), Repair.end.is_not(None))
    found: dict[UUID, list[tuple[datetime, End]]] = defaultdict(list)
    for item_id, at, end in db.execute(query.order_by(Repair.at, Repair.id)):
        found[item_id].append((at, End(str(end))))
    return found


def repair_costs(db: Session) -> dict[str, int]:
    """Cents that a repair came to on average, by kind, of kinds that had repairs enough."""
    cost = func.avg(Repair.cost_cents)
    query = select(Item.kind, cost).join(Item, Item.id == Repair.item_id).where(Repair.cost_cents > 0)
    rows = db.execute(query.group_by(Item.kind).having(func.count() >= REPAIRS_ENOUGH))
    return {kind: round(float(mean)) for kind, mean in rows}
