"""What happens with sessions: opening one with its worklist, changing a planned one, closing it."""

from collections.abc import Collection, Iterable, Sequence, Set
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Actor, Who
from service.crew.queries import note_in_audit
from service.gear.core import ASKED, ItemState
from service.gear.models import Item, Place
from service.gear.queries import item_facts
from service.kit.problems import Conflict, NotFound, invalid
from service.kit.text import as_id
from service.season.core import DueState
from service.sessions import worklist
from service.sessions.worklist import WorklistCandidate, in_walk
from service.store.sessions import locked, shared
from service.tags.queries import named_item
from service.testlog.models import SessionKind, WorkSession


class Why(StrEnum):
    """Why an item is on a worklist; if several fit, the first counts."""

    REPAIR = "after repair"
    SWAPPED = "swapped out"
    SUSPECT = "suspect"
    OVERDUE = "overdue"
    UNTESTED = "untested"
    DUE = "due"
    PLACE = "lives here"


USUAL = (Why.REPAIR, Why.SWAPPED, Why.SUSPECT, Why.OVERDUE, Why.UNTESTED, Why.DUE)

BY_HAND = "by hand"
"""Why an item is on a worklist that somebody typed or scanned."""
COUNTED = "count"
"""Why an item is on the list of a count: it should be there."""
NO_SESSION = "There is no such session. Look for it among the sessions."


@dataclass(frozen=True)
class NewSession:
    """A session to open; `place_id` keeps its worklist to one place, `codes` come on it as they are.

    A count lists all that should be there, whatever `why` says.
    """

    id: UUID
    title: str
    on: date
    why: Collection[Why] = ()
    place_id: UUID | None = None
    note: str = ""
    kind: SessionKind = SessionKind.TEST
    codes: Sequence[str] = ()


@dataclass(frozen=True)
class SessionChange:
    """What a planned session becomes: `add` are codes, `drop` items that come off its worklist."""

    title: str
    on: date
    note: str = ""
    add: Sequence[str] = ()
    drop: Collection[UUID] = ()


def open_session(db: Session, new: NewSession, who: Who | None, now: datetime) -> WorkSession:
    """Open a session with its worklist, in walking order.

    Raises:
        Invalid: there would be nothing on it, or a code is none of ours.
    """
    place = shared(db, Place, new.place_id) if new.place_id else None
    if new.place_id and (place is None or place.ended_at is not None):
        raise invalid("place", "There is no such place any more. Choose another one.")
    lines = _lines(db, new)
    if not lines:
        where = f" at {place.name}" if place else ""
        if new.kind is SessionKind.COUNT:
            raise invalid("place", f"Nothing lives{where or ' anywhere'}, so there is nothing to count.")
        raise invalid("why", f"Nothing{where} needs a test for the reasons ticked. Tick more, or choose another place.")
    session = WorkSession(
        id=new.id,
        title=new.title,
        kind=new.kind,
        place_id=new.place_id,
        on=new.on,
        note=new.note,
        made_by=who.id if who else None,
        created_at=now,
        closed_at=None,
        closed_by=None,
        closing_note="",
    )
    db.add(session)
    db.flush()
    worklist.set_rows(db, session.id, lines)
    changes = {"kind": new.kind, "on": new.on.isoformat(), "items": len(lines)}
    note_in_audit(db, now, session.made_by, "session.opened", new.title, changes)
    return session


def _lines(db: Session, new: NewSession) -> dict[UUID, str]:
    """What comes on the worklist, in walking order, and why."""
    if new.kind is SessionKind.COUNT:
        return {item.id: COUNTED for item in worklist.countable(db, new.place_id)}
    by_hand = {item.id for item in _items_by_code(db, new.codes)}
    why = {
        each.item.id: why_listed(each, new.why, new.place_id) or (BY_HAND if each.item.id in by_hand else None)
        for each in worklist.candidates(db, by_hand)
    }
    return {item_id: str(reason) for item_id, reason in why.items() if reason is not None}


def _items_by_code(db: Session, codes: Iterable[str]) -> list[Item]:
    items = [named_item(db, code, "codes") for code in codes]
    for item, code in zip(items, codes, strict=True):
        if item.state not in ASKED:
            state = ItemState(item.state).value
            raise invalid("codes", f"{code} is {state}. Bring it back from its own page first, or leave it out.")
    return items


def why_listed(candidate: WorklistCandidate, wanted_reasons: Collection[Why], place_id: UUID | None) -> Why | None:
    """The first requested reason why an item belongs on the worklist; None where no reason fits."""
    if place_id is not None and place_id not in (candidate.item.place_id, candidate.place_b_id):
        return None
    true = {
        Why.REPAIR: candidate.item.state is ItemState.IN_REPAIR,
        Why.SWAPPED: candidate.swapped,
        Why.SUSPECT: candidate.suspect,
        Why.OVERDUE: candidate.due is DueState.OVERDUE,
        Why.UNTESTED: candidate.due in (DueState.UNTESTED, None),
        Why.DUE: candidate.due is DueState.DUE,
        Why.PLACE: place_id is not None,
    }
    return next((why for why in Why if why in wanted_reasons and true[why]), None)


def change_session(db: Session, session_id: UUID, change: SessionChange, actor: Actor) -> None:
    """Change a session: what comes on its worklist as long as it is open, what goes off it before it has begun.

    Raises:
        NotFound, Conflict: there is no such session; it was closed; or it has begun, and a line would go.
        Invalid: a code is none of ours, or nothing would be left.
    """
    session = lock_open_session(db, session_id)
    if change.drop and worklist.has_begun(db, session_id):
        raise Conflict(
            "This session has begun, so nothing comes off its list any more. "
            "What is left at the end is told in its summary."
        )
    before = worklist.reasons(db, session_id)
    why = before | {item.id: BY_HAND for item in _items_by_code(db, change.add) if item.id not in before}
    facts = item_facts(db, [item_id for item_id in why if item_id not in change.drop])
    if not facts:
        raise invalid("codes", "Nothing would be left on the list. Keep a line, or add a code.")
    order = sorted(facts.values(), key=in_walk)
    worklist.set_rows(db, session_id, {item.id: why[item.id] for item in order})
    changes = _changes(session, change) | _counts(before.keys(), facts.keys())
    session.title, session.on, session.note, session.changed_at = change.title, change.on, change.note, actor.now
    if changes:
        note_in_audit(db, actor.now, actor.who.id, "session.changed", change.title, changes)


def _changes(session: WorkSession, change: SessionChange) -> dict[str, Any]:
    """What the audit trail keeps of a change: a note is in the session, and not written down twice."""
    both = {"title": [session.title, change.title], "on": [session.on.isoformat(), change.on.isoformat()]}
    changes: dict[str, Any] = {name: [was, is_now] for name, (was, is_now) in both.items() if was != is_now}
    return changes | ({"note": "another one"} if session.note != change.note else {})


def _counts(before: Set[UUID], after: Set[UUID]) -> dict[str, int]:
    """How many items came on the list and went off it, where any did."""
    counts = {"items added": len(after - before), "items dropped": len(before - after)}
    return {name: count for name, count in counts.items() if count}


def get_session(db: Session, session_id: str) -> WorkSession:
    """The session that an address names.

    Raises:
        NotFound: there is none.
    """
    key = as_id(session_id)
    session = db.get(WorkSession, key) if key else None
    if session is None:
        raise NotFound(NO_SESSION)
    return session


def lock_open_session(db: Session, session_id: UUID) -> WorkSession:
    """The session, locked until the transaction ends, so that changes of its worklist happen one after the other.

    Raises:
        NotFound, Conflict: there is no such session, or it was closed.
    """
    session: WorkSession | None = locked(db, WorkSession, session_id)
    if session is None:
        raise NotFound(NO_SESSION)
    if session.closed_at is not None:
        raise Conflict("This session was closed before. Nothing was changed.")
    return session


def close_session(db: Session, session_id: UUID, note: str, who: Who | None, now: datetime) -> None:
    """Close a session, with a word for next year's lead; tests that come in late still count in it.

    Raises:
        NotFound, Conflict: there is no such session, or it was closed before.
    """
    session = lock_open_session(db, session_id)
    session.closed_at, session.closed_by, session.closing_note = now, who.id if who else None, note
    note_in_audit(db, now, session.closed_by, "session.closed", session.title)
