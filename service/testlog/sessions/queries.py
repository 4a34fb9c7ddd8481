"""Every look-up about sessions: their worklists, what is done of them, who helped."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import Row, func, select
from sqlalchemy.orm import Session

from service.crew.models import Person
from service.gear.core import FlagKind, ItemState
from service.gear.models import Flag, Item, Place, Placement
from service.gear.queries import ItemFacts, as_facts, facts, item_facts
from service.season.core import DueState
from service.season.models import ItemDue
from service.tags.queries import codes_of
from service.testlog.core import Verdict
from service.testlog.models import SessionHelper, Test, TestItem, Void, WorkItem, WorkSession

LIST_MOST = 60


@dataclass(frozen=True)
class Done:
    """The last test of an item in a session that stands."""

    test_id: UUID
    verdict: Verdict


@dataclass(frozen=True)
class Line:
    """A line of a worklist: the item, why it is on it, and its test, once it has one."""

    item: ItemFacts
    code: str
    why: str
    done: Done | None


@dataclass(frozen=True)
class Candidate:
    """An item that a worklist may take in."""

    item: ItemFacts
    place_b_id: UUID | None
    due: DueState | None
    suspect: bool


def session(db: Session, session_id: UUID) -> WorkSession | None:
    """One session."""
    return db.get(WorkSession, session_id)


def sessions(db: Session) -> Sequence[Row[WorkSession, str | None, int, int]]:
    """Sessions, open ones first, then the latest: (session, place, lines of its worklist, how many are done)."""
    total = select(func.count()).where(WorkItem.session_id == WorkSession.id).scalar_subquery()
    done = (
        select(func.count(WorkItem.item_id.distinct()))
        .select_from(WorkItem)
        .join(TestItem, TestItem.item_id == WorkItem.item_id)
        .join(Test, (Test.id == TestItem.test_id) & (Test.session_id == WorkItem.session_id))
        .outerjoin(Void, Void.test_id == Test.id)
        .where(WorkItem.session_id == WorkSession.id, Void.test_id.is_(None))
        .scalar_subquery()
    )
    return db.execute(
        select(WorkSession, Place.name, total, done)
        .outerjoin(Place, Place.id == WorkSession.place_id)
        .order_by(WorkSession.closed_at.is_not(None), WorkSession.on.desc(), WorkSession.created_at.desc())
        .limit(LIST_MOST)
    ).all()


def worklist(db: Session, session_id: UUID) -> list[Line]:
    """The worklist in walking order, with what is done."""
    rows = db.execute(
        select(WorkItem.item_id, WorkItem.why)
        .where(WorkItem.session_id == session_id)
        .order_by(WorkItem.position)
    ).all()
    ids = [item_id for item_id, _ in rows]
    items, codes, done = item_facts(db, ids), codes_of(db, ids), tested(db, session_id)
    return [Line(items[item_id], codes[item_id], why, done.get(item_id)) for item_id, why in rows]


def tested(db: Session, session_id: UUID) -> dict[UUID, Done]:
    """What was tested in a session, on its worklist or not."""
    query = (
        select(TestItem.item_id, Test.id, Test.verdict)
        .join(Test, Test.id == TestItem.test_id)
        .outerjoin(Void, Void.test_id == Test.id)
        .where(Test.session_id == session_id, Void.test_id.is_(None))
        .order_by(Test.tested_at, Test.id)
    )
    return {item_id: Done(test_id, Verdict(verdict)) for item_id, test_id, verdict in db.execute(query)}


def helpers(db: Session, session_id: UUID) -> Sequence[str]:
    """Who helped, in the order in which they joined."""
    return db.scalars(
        select(Person.display_name)
        .join(SessionHelper, SessionHelper.person_id == Person.id)
        .where(SessionHelper.session_id == session_id)
        .order_by(SessionHelper.joined_at, Person.display_name)
    ).all()


def open_session_with(db: Session, item_id: UUID, today: date) -> WorkSession | None:
    """The open session of today that has an item on its worklist: a test of it counts there."""
    return db.scalar(
        select(WorkSession)
        .join(WorkItem, WorkItem.session_id == WorkSession.id)
        .where(WorkItem.item_id == item_id, WorkSession.on == today, WorkSession.closed_at.is_(None))
        .order_by(WorkSession.created_at.desc())
        .limit(1)
    )


def candidates(db: Session) -> list[Candidate]:
    """Every item that could be tested now, in walking order: one with an open fault waits for its repair first."""
    suspect = select(Flag.id).where(
        Flag.item_id == Item.id, Flag.flag == FlagKind.SUSPECT, Flag.cleared_at.is_(None)
    )
    testable = (ItemState.IN_SERVICE, ItemState.SPARE, ItemState.IN_REPAIR)
    query = (
        facts()
        .add_columns(Placement.place_b_id, ItemDue.state, suspect.exists())
        .outerjoin(ItemDue, ItemDue.item_id == Item.id)
        .where(Item.state.in_(testable))
    )
    found = [
        Candidate(as_facts(row), row[-3], DueState(row[-2]) if row[-2] else None, bool(row[-1]))
        for row in db.execute(query)
    ]
    return sorted(
        found, key=lambda each: (each.item.walk_order, each.item.place, each.item.label, each.item.id)
    )


def closed(db: Session, session_id: UUID, at: datetime) -> bool:
    """Close a session; False where it was closed before."""
    found = db.get(WorkSession, session_id, with_for_update=True)
    if found is None or found.closed_at is not None:
        return False
    found.closed_at = at
    return True
