"""Look-ups of planning: due days, worklists, durations of tests, and coming events and rounds."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.gear.models import Item
from service.schedule.planning.core.pace import SessionTest
from service.season.models import Event, ItemDue, RoundRow
from service.testlog.models import SESSION_IS_OPEN, SessionKind, Test, TestItem, WorkItem, WorkSession

LATELY_MOST = 5000
"""How many of the newest tests are used to estimate how long one takes."""


def due_dates(db: Session) -> dict[UUID, date | None]:
    """The first day too late of every item, as far as its cached due state has one."""
    rows = db.execute(select(ItemDue.item_id, ItemDue.due_by))
    return {item_id: due_by for item_id, due_by in rows}  # noqa: C416  (a row is no pair to the type checker)


def listed(db: Session, today: date) -> dict[UUID, list[date]]:
    """The items on worklists of open test sessions, today or later, and the days of these."""
    query = (
        select(WorkItem.item_id, WorkSession.on)
        .join(WorkSession, WorkSession.id == WorkItem.session_id)
        .where(WorkSession.kind == SessionKind.TEST, SESSION_IS_OPEN, WorkSession.on >= today)
    )
    days: dict[UUID, list[date]] = defaultdict(list)
    for item_id, on in db.execute(query):
        days[item_id].append(on)
    return days


def logged(db: Session, before: datetime) -> list[SessionTest]:
    """The newest tests of sessions received before a moment; one through several items counts for the first of them."""
    query = (
        select(Test.session_id, Test.person_id, Test.tested_at, Item.kind, Item.wiring)
        .join(TestItem, (TestItem.test_id == Test.id) & (TestItem.position == 0))
        .join(Item, Item.id == TestItem.item_id)
        .where(Test.session_id.is_not(None), Test.person_id.is_not(None), Test.received_at < before)
        .order_by(Test.tested_at.desc())
        .limit(LATELY_MOST)
    )
    return [
        SessionTest(session, helper, at, (kind, wiring))
        for session, helper, at, kind, wiring in db.execute(query)
        if session is not None and helper is not None
    ]


def events_ahead(db: Session, today: date) -> Sequence[Event]:
    """The events after today, the soonest first."""
    return db.scalars(select(Event).where(Event.on > today).order_by(Event.on, Event.id)).all()


def rounds_open(db: Session, today: date, until: date) -> Sequence[RoundRow]:
    """The rounds that run at some time from today to `until`, by when they close."""
    query = select(RoundRow).where(RoundRow.opens <= until, RoundRow.closes > today)
    return db.scalars(query.order_by(RoundRow.closes, RoundRow.id)).all()


def rounds_ahead(db: Session, today: date) -> Sequence[RoundRow]:
    """The rounds that have not closed by today, open or not, by when they close."""
    return db.scalars(select(RoundRow).where(RoundRow.closes > today).order_by(RoundRow.closes, RoundRow.id)).all()
