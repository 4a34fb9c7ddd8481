"""Every look-up about sessions: their worklists, what is done of them, who helped."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID

from sqlalchemy import ColumnElement, Row, case, func, select, update
from sqlalchemy.orm import Session

from service.crew.models import Person
from service.gear.models import Item, Place
from service.gear.queries import ItemFacts, item_facts
from service.gear.wirings import find_wiring
from service.sessions.core import Claim, Turn
from service.tags.queries import codes_of
from service.testlog.core import Verdict, ends_proven
from service.testlog.models import (
    NOT_VOIDED,
    SessionHelper,
    SessionKind,
    Test,
    TestItem,
    Void,
    WorkItem,
    WorkSeen,
    WorkSession,
)
from service.testlog.queries import DOUBTED, events
from service.testlog.reach import lane_names

LIST_MOST = 60


@dataclass(frozen=True)
class Done:
    """The last test of an item in a session that stands: when, by whom, when it came in; `first_at` is its first."""

    test_id: UUID
    verdict: Verdict
    at: datetime
    first_at: datetime
    received_at: datetime
    by_id: UUID | None
    by: str


@dataclass(frozen=True)
class WorklistRow:
    """A line of a worklist: the item, why it is on it, its test, once it has one, and who claimed it last."""

    item: ItemFacts
    code: str
    why: str
    done: Done | None
    claim: Claim | None = None
    claimed_by: str = ""


def session(db: Session, session_id: UUID) -> WorkSession | None:
    """One session."""
    return db.get(WorkSession, session_id)


def sessions(db: Session, *only: ColumnElement[bool]) -> Sequence[Row[WorkSession, str | None, int, int]]:
    """Sessions, open ones first, then the latest: (session, place, lines of its worklist, how many are done).

    Done is what was tested or, in a count, seen. `only` are conditions on the sessions, all of which must hold.
    """
    total = select(func.count()).where(WorkItem.session_id == WorkSession.id).scalar_subquery()
    done = (
        select(func.count(WorkItem.item_id.distinct()))
        .select_from(WorkItem)
        .join(TestItem, TestItem.item_id == WorkItem.item_id)
        .join(Test, (Test.id == TestItem.test_id) & (Test.session_id == WorkItem.session_id))
        .outerjoin(Void, Void.test_id == Test.id)
        .where(WorkItem.session_id == WorkSession.id, NOT_VOIDED, ~DOUBTED)
        .scalar_subquery()
    )
    seen = (
        select(func.count())
        .select_from(WorkItem)
        .join(WorkSeen, (WorkSeen.session_id == WorkItem.session_id) & (WorkSeen.item_id == WorkItem.item_id))
        .where(WorkItem.session_id == WorkSession.id)
        .scalar_subquery()
    )
    return db.execute(
        select(WorkSession, Place.name, total, case((WorkSession.kind == SessionKind.COUNT, seen), else_=done))
        .outerjoin(Place, Place.id == WorkSession.place_id)
        .where(*only)
        .order_by(WorkSession.closed_at.is_not(None), WorkSession.on.desc(), WorkSession.created_at.desc())
        .limit(LIST_MOST)
    ).all()


def worklist(db: Session, session_id: UUID) -> list[WorklistRow]:
    """The worklist in walking order, with what is done, and who claimed what (also where that has lapsed)."""
    rows = db.execute(
        select(WorkItem.item_id, WorkItem.why, WorkItem.claimed_by, WorkItem.claimed_until, Person.display_name)
        .outerjoin(Person, Person.id == WorkItem.claimed_by)
        .where(WorkItem.session_id == session_id)
        .order_by(WorkItem.position)
    ).all()
    ids = [row.item_id for row in rows]
    items, codes, done = item_facts(db, ids), codes_of(db, ids), tested(db, session_id)
    return [
        WorklistRow(items[item_id], codes[item_id], why, done.get(item_id), _claim(by, until), name or "")
        for item_id, why, by, until, name in rows
    ]


def wirings_on(db: Session, session_id: UUID) -> Sequence[str]:
    """The wirings of what is on a worklist."""
    query = select(Item.wiring).join(WorkItem, WorkItem.item_id == Item.id)
    return db.scalars(query.where(WorkItem.session_id == session_id).distinct().order_by(Item.wiring)).all()


def turns(db: Session, session_id: UUID) -> list[Turn]:
    """The worklist in walking order, as far as whose turn it is depends on it."""
    done = tested(db, session_id)
    rows = db.execute(
        select(WorkItem.item_id, WorkItem.claimed_by, WorkItem.claimed_until)
        .where(WorkItem.session_id == session_id)
        .order_by(WorkItem.position)
    )
    return [Turn(item_id, item_id in done, _claim(by, until)) for item_id, by, until in rows]


def _claim(by: UUID | None, until: datetime | None) -> Claim | None:
    return Claim(by, until) if by is not None and until is not None else None


def set_claim(db: Session, session_id: UUID, item_id: UUID, claim: Claim) -> None:
    """Set who tests a line, and until when the claim counts."""
    db.execute(
        update(WorkItem)
        .where(WorkItem.session_id == session_id, WorkItem.item_id == item_id)
        .values(claimed_by=claim.by, claimed_until=claim.until)
    )


def last_item_of(db: Session, session_id: UUID, person_id: UUID) -> UUID | None:
    """The item on the worklist that somebody tested last."""
    return db.scalar(
        select(WorkItem.item_id)
        .join(TestItem, TestItem.item_id == WorkItem.item_id)
        .join(Test, (Test.id == TestItem.test_id) & (Test.session_id == WorkItem.session_id))
        .where(WorkItem.session_id == session_id, Test.person_id == person_id)
        .order_by(Test.tested_at.desc(), WorkItem.position)
        .limit(1)
    )


def tested(db: Session, session_id: UUID) -> dict[UUID, Done]:
    """What was tested in a session, on its worklist or not."""
    query = (
        select(
            TestItem.item_id,
            Test.id,
            Test.verdict,
            Test.tested_at,
            Test.received_at,
            Test.person_id,
            Person.display_name,
        )
        .join(Test, Test.id == TestItem.test_id)
        .outerjoin(Person, Person.id == Test.person_id)
        .outerjoin(Void, Void.test_id == Test.id)
        .where(Test.session_id == session_id, NOT_VOIDED, ~DOUBTED)
        .order_by(Test.tested_at, Test.id)
    )
    done_by_item: dict[UUID, Done] = {}
    tests: dict[UUID, set[UUID]] = defaultdict(set)
    for item_id, test_id, verdict, at, received_at, by_id, by in db.execute(query):
        first_at = done_by_item[item_id].first_at if item_id in done_by_item else at
        done_by_item[item_id] = Done(test_id, Verdict(verdict), at, first_at, received_at, by_id, by or "")
        tests[item_id].add(test_id)
    for item_id, history in events(db, _with_lanes(db, done_by_item)).items():
        done, here = done_by_item[item_id], [event for event in history if event.entry in tests[item_id]]
        if done.verdict is not Verdict.FAIL:  # a pass is one of the whole item, whatever a single test went through
            verdict = Verdict.PASS if ends_proven(history, here) else Verdict.PARTIAL
            done_by_item[item_id] = replace(done, verdict=verdict)
    return done_by_item


def _with_lanes(db: Session, item_ids: Collection[UUID]) -> list[UUID]:
    """Those of these items that have several lanes."""
    wirings = db.execute(select(Item.id, Item.wiring).where(Item.id.in_(item_ids)))
    return [item_id for item_id, key in wirings if len(lane_names(find_wiring(db, key))) > 1]


def helpers(db: Session, session_id: UUID) -> dict[UUID, str]:
    """Who helped, in the order in which they joined."""
    query = (
        select(Person.id, Person.display_name)
        .join(SessionHelper, SessionHelper.person_id == Person.id)
        .where(SessionHelper.session_id == session_id)
        .order_by(SessionHelper.joined_at, Person.display_name)
    )
    return dict(db.execute(query).all())


def notes_of(db: Session, session_id: UUID) -> list[tuple[UUID, str]]:
    """What was noted beside the tests of a session that stand, each with the first item of its test."""
    query = (
        select(TestItem.item_id, Test.note)
        .join(Test, Test.id == TestItem.test_id)
        .outerjoin(Void, Void.test_id == Test.id)
        .where(Test.session_id == session_id, Test.note != "", TestItem.position == 0, NOT_VOIDED)
        .order_by(Test.tested_at, Test.id)
    )
    return [(item_id, note) for item_id, note in db.execute(query)]


def wirings_of(db: Session, test_ids: Collection[UUID]) -> dict[UUID, str]:
    """The wiring that each test was taken by."""
    query = select(Test.id, Test.wiring).where(Test.id.in_(test_ids))
    return dict(db.execute(query).all())


def name_of(db: Session, person_id: UUID | None) -> str:
    """What somebody is called; empty for nobody."""
    person = db.get(Person, person_id) if person_id else None
    return person.display_name if person else ""


def place_name(db: Session, session: WorkSession) -> str:
    """The name of the place that a session is limited to; empty where it is not."""
    return db.get_one(Place, session.place_id).name if session.place_id else ""
