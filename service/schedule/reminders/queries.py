"""Look-ups of reminders: the state of the program, who gets mail, and what was sent."""

from collections.abc import Sequence
from datetime import date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import delete, distinct, func, select, update
from sqlalchemy.orm import Session

from service.crew.core import Role, tidy_address
from service.crew.models import PERSON_IS_HERE, Person
from service.gear.core import FlagKind, ItemState
from service.gear.models import FLAG_IS_OPEN, Flag, Item, Place
from service.kit.dates import midnight
from service.kit.problems import Invalid
from service.schedule.reminders.core import AHEAD, BACK, Coming, Digest, LetterKind
from service.schedule.reminders.models import SentMail
from service.season import queries as season
from service.season.models import Event
from service.testlog.core import Verdict
from service.testlog.models import NOT_VOIDED, SESSION_IS_OPEN, Repair, SessionKind, Test, Void, WorkItem, WorkSession
from service.testlog.rounds import progress

_KINDS = {SessionKind.TEST: "test session", SessionKind.COUNT: "count of gear"}


def digest(db: Session, today: date, zone: ZoneInfo) -> Digest:
    """The state of the program, without names of people."""
    running = [row for row in season.seasons(db) if row.starts <= today <= row.ends]
    rounds = [(row.name, each) for row in reversed(running) for each in progress(db, row.id, zone)]
    since = midnight(today - BACK, zone)
    tests = select(func.count()).select_from(Test).outerjoin(Void, Void.test_id == Test.id)
    tests = tests.where(NOT_VOIDED, Test.tested_at >= since)
    states = select(func.count()).select_from(Item)
    suspects = select(func.count(distinct(Flag.item_id)))
    return Digest(
        today=today,
        rounds=[(name, each) for name, each in rounds if each.is_open(today)],
        due=season.due_counts(db),
        quarantined=db.scalar(states.where(Item.state == ItemState.QUARANTINED)) or 0,
        in_repair=db.scalar(states.where(Item.state == ItemState.IN_REPAIR)) or 0,
        suspect=db.scalar(suspects.where(Flag.flag == FlagKind.SUSPECT, FLAG_IS_OPEN)) or 0,
        tested=db.scalar(tests) or 0,
        failed=db.scalar(tests.where(Test.verdict == Verdict.FAIL)) or 0,
        repaired=db.scalar(select(func.count()).select_from(Repair).where(Repair.at >= since)) or 0,
        coming=_coming(db, today),
    )


def _coming(db: Session, today: date) -> list[Coming]:
    events = select(Event).where(Event.on >= today, Event.on <= today + AHEAD)
    coming_up = [Coming(each.on, each.name, each.kind, f"/pull/{each.id}") for each in db.scalars(events)]
    sessions = select(WorkSession).where(WorkSession.on >= today, WorkSession.on <= today + AHEAD, SESSION_IS_OPEN)
    for each in db.scalars(sessions):
        coming_up.append(Coming(each.on, each.title, _KINDS[SessionKind(each.kind)], f"/sessions/{each.id}"))
    return sorted(coming_up, key=lambda coming: (coming.on, coming.name))


def sessions_on(db: Session, on: date) -> Sequence[tuple[WorkSession, str, int]]:
    """The open sessions of a day: (session, its place or None, how many items are on its list)."""
    lines = select(func.count()).where(WorkItem.session_id == WorkSession.id).scalar_subquery()
    query = select(WorkSession, Place.name, lines).outerjoin(Place, Place.id == WorkSession.place_id)
    rows = db.execute(query.where(WorkSession.on == on, SESSION_IS_OPEN).order_by(WorkSession.id))
    return [(session, place or "", count) for session, place, count in rows]


def readers(db: Session) -> Sequence[tuple[UUID, str]]:
    """Who gets mail, and at which address: leads and viewers who set one."""
    query = select(Person.id, Person.email).where(
        Person.role.in_((Role.LEAD, Role.VIEWER)), PERSON_IS_HERE, Person.email.is_not(None)
    )
    return [(person_id, email or "") for person_id, email in db.execute(query.order_by(Person.id))]


def unmailable(db: Session) -> list[Person]:
    """Whom no mail reaches, since what is kept of them is no address: it came by no form of ours."""
    people = [db.get_one(Person, person_id) for person_id, to in readers(db) if not is_mailable(to)]
    return sorted(people, key=lambda person: person.display_name)


def is_mailable(to: str) -> bool:
    """Whether mail can be sent to what is kept as an address."""
    try:
        return tidy_address(to) == to
    except Invalid:
        return False


def claimed(db: Session, kind: LetterKind, period: str) -> set[UUID]:
    """The people whose letter of this kind and period is sent or claimed."""
    query = select(SentMail.person_id).where(SentMail.kind == kind, SentMail.period == period)
    return set(db.scalars(query))


def claim(db: Session, person_id: UUID, kind: LetterKind, period: str, now: datetime) -> None:
    """Claim a letter; the write ends with an IntegrityError if another process has claimed it."""
    db.add(SentMail(person_id=person_id, kind=kind, period=period, claimed_at=now, sent_at=None))


def keep_sent(db: Session, person_id: UUID, kind: LetterKind, period: str, now: datetime) -> None:
    """Save that a letter was handed over."""
    db.execute(
        update(SentMail)
        .where(SentMail.person_id == person_id, SentMail.kind == kind, SentMail.period == period)
        .values(sent_at=now)
    )


def release(db: Session, person_id: UUID, kind: LetterKind, period: str) -> None:
    """Release a claim, so that the letter is tried again."""
    db.execute(
        delete(SentMail).where(SentMail.person_id == person_id, SentMail.kind == kind, SentMail.period == period)
    )
