"""What happens with sessions: opening one with its worklist, closing it."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Who
from service.gear.core import ItemState
from service.gear.models import Place
from service.kit.problems import Conflict, NotFound, invalid
from service.season.core import DueState
from service.testlog.models import SessionKind, WorkItem, WorkSession
from service.testlog.sessions import queries
from service.testlog.sessions.queries import Candidate, Line


class Why(StrEnum):
    """Why an item is on a worklist; the first that fits is told."""

    REPAIR = "after repair"
    SUSPECT = "suspect"
    OVERDUE = "overdue"
    UNTESTED = "untested"
    DUE = "due"
    PLACE = "lives here"


USUAL = (Why.REPAIR, Why.SUSPECT, Why.OVERDUE, Why.UNTESTED, Why.DUE)


@dataclass(frozen=True)
class NewSession:
    """A session to open; `place_id` keeps its worklist to one place."""

    id: UUID
    title: str
    on: date
    why: Collection[Why]
    place_id: UUID | None = None
    note: str = ""


def open_session(db: Session, new: NewSession, who: Who | None, now: datetime) -> WorkSession:
    """Open a session with its worklist, in walking order.

    Raises:
        Invalid: there would be nothing on it.
    """
    place = db.get(Place, new.place_id) if new.place_id else None
    if new.place_id and place is None:
        raise invalid("place", "There is no such place any more. Choose another one.")
    lines = [
        (each.item.id, why)
        for each in queries.candidates(db)
        if (why := why_listed(each, new.why, new.place_id)) is not None
    ]
    if not lines:
        where = f" at {place.name}" if place else ""
        raise invalid(
            "why", f"Nothing{where} needs a test for the reasons ticked. Tick more, or choose another place."
        )
    session = WorkSession(
        id=new.id, title=new.title, kind=SessionKind.TEST, place_id=new.place_id, on=new.on, note=new.note,
        made_by=who.id if who else None, created_at=now, closed_at=None,
    )  # fmt: skip
    db.add(session)
    db.flush()
    db.add_all(
        WorkItem(session_id=session.id, item_id=item_id, position=position, why=why)
        for position, (item_id, why) in enumerate(lines)
    )
    return session


def why_listed(candidate: Candidate, asked: Collection[Why], place_id: UUID | None) -> Why | None:
    """The first reason asked for why an item belongs on the worklist; None where there is none."""
    if place_id is not None and place_id not in (candidate.item.place_id, candidate.place_b_id):
        return None
    true = {
        Why.REPAIR: candidate.item.state is ItemState.IN_REPAIR,
        Why.SUSPECT: candidate.suspect,
        Why.OVERDUE: candidate.due is DueState.OVERDUE,
        Why.UNTESTED: candidate.due in (DueState.UNTESTED, None),
        Why.DUE: candidate.due is DueState.DUE,
        Why.PLACE: place_id is not None,
    }
    return next((why for why in Why if why in asked and true[why]), None)


def close_session(db: Session, session_id: UUID, now: datetime) -> None:
    """Close a session; tests that come in late still count in it.

    Raises:
        NotFound, Conflict: there is no such session, or it was closed before.
    """
    if queries.session(db, session_id) is None:
        raise NotFound("There is no such session. Look for it among the sessions.")
    if not queries.closed(db, session_id, now):
        raise Conflict("This session was closed before. Nothing was changed.")


def next_line(lines: Sequence[Line], after: UUID | None = None) -> Line | None:
    """The next item to test: the first one open after the item just tested, then from the start again."""
    at = next((index + 1 for index, line in enumerate(lines) if line.item.id == after), 0)
    return next((line for line in [*lines[at:], *lines[:at]] if line.done is None), None)
