"""What happens in a count: things are seen, found again, or missing at its end."""

from collections.abc import Collection
from uuid import UUID

from sqlalchemy.orm import Session

from service.counts import queries
from service.counts.core import Outcome, outcome
from service.crew.core import Actor
from service.crew.queries import note_in_audit
from service.gear import queries as gear
from service.gear.actions import place
from service.gear.core import ItemState, home_state
from service.gear.models import Item, Place
from service.gear.queries import item_facts
from service.kit.problems import Conflict, invalid
from service.sessions import actions as sessions
from service.sessions.actions import lock_open_session
from service.sessions.worklist import reasons
from service.testlog import actions as testlog
from service.testlog.core import FaultStatus, state_after
from service.testlog.effects import fault_status_of
from service.testlog.models import SessionHelper, SessionKind, WorkSession

_OUT_OF_DATE = "This page is out of date. Open the count again, and say there what was seen."


def see(db: Session, session_id: UUID, item_ids: Collection[UUID], place_id: UUID | None, actor: Actor) -> int:
    """Keep that these items were seen, by whom and where; how many were not before.

    Raises:
        NotFound, Conflict: there is no such count, or it was closed.
        Invalid: there is no such item, or no such place.
    """
    _held_count(db, session_id)
    if set(item_ids) - item_facts(db, item_ids).keys():
        raise invalid("item", _OUT_OF_DATE)
    if place_id is not None and db.get(Place, place_id) is None:
        raise invalid("place", _OUT_OF_DATE)
    if db.get(SessionHelper, (session_id, actor.who.id)) is None:
        db.add(SessionHelper(session_id=session_id, person_id=actor.who.id, joined_at=actor.now))
    return queries.keep_seen(db, session_id, item_ids, place_id, actor.who.id, actor.now)


def take_back(db: Session, session_id: UUID, item_id: UUID) -> None:
    """It was not seen after all: a slip of the thumb.

    Raises:
        NotFound, Conflict: there is no such count, or it was closed.
    """
    _held_count(db, session_id)
    queries.forget_seen(db, session_id, item_id)


def bring_back(db: Session, session_id: UUID, item_id: UUID, actor: Actor) -> ItemState:
    """A lost item that was seen is no longer lost: a lead says so; the state that it goes back to.

    Raises:
        NotFound, Conflict: there is no such count, or it was closed.
        Invalid: the item was not seen in it, or is not lost.
    """
    session = _held_count(db, session_id)
    return _bring_back(db, session, comes_to(db, session), item_id, actor)


def walk(db: Session, session_id: UUID, place_id: UUID, actor: Actor) -> None:
    """Somebody went through a place to its end: what belongs there and was not seen is missing.

    Raises:
        NotFound, Conflict: there is no such count, or it was closed.
        Invalid: there is no such place.
    """
    _held_count(db, session_id)
    if db.get(Place, place_id) is None:
        raise invalid("place", _OUT_OF_DATE)
    queries.keep_walked(db, session_id, place_id, actor.who.id, actor.now)


def settle(db: Session, session_id: UUID, item_id: UUID, actor: Actor) -> None:
    """An item that was found elsewhere lives there from now on: a lead says so.

    Raises:
        NotFound, Conflict: there is no such count, or it was closed.
        Invalid: it was not found elsewhere.
    """
    session = _held_count(db, session_id)
    _settle(db, session, comes_to(db, session), item_id, actor)


def _settle(db: Session, session: WorkSession, result: Outcome, item_id: UUID, actor: Actor) -> None:
    if item_id not in result.elsewhere:
        raise invalid(
            "moved",
            "One of those found elsewhere lives there already, or was not seen there. Look at the list again.",
        )
    at = queries.seen(db, session.id)[item_id].place
    place(db, item_id, at, "", actor.who, actor.now)
    note_in_audit(db, actor.now, actor.who.id, "item.moved", str(item_id), {"place": at, "found in": session.title})


def close_count(
    db: Session,
    session_id: UUID,
    lost: Collection[UUID],
    found_again: Collection[UUID],
    moved: Collection[UUID],
    note: str,
    actor: Actor,
) -> None:
    """Close a count: what a lead ticked of the missing is lost from now on, what they ticked of the found is back, and
    what they ticked of what was found elsewhere lives there.

    Raises:
        NotFound, Conflict: there is no such count, or it was closed.
        Invalid: something ticked as lost was seen, or its place was not walked.
    """
    session = _held_count(db, session_id)
    result = comes_to(db, session)  # of each item by itself, so no change below makes it another
    missing = set(result.missing)
    for item_id in sorted(found_again):
        _bring_back(db, session, result, item_id, actor)
    for item_id in sorted(moved):
        _settle(db, session, result, item_id, actor)
    for item_id in sorted(lost):
        if item_id not in missing:
            raise invalid(
                "lost",
                "One of those ticked as lost has been seen meanwhile, or nobody walked its place. "
                "Look at the list again.",
            )
        testlog.change_state(
            db, item_id, ItemState.LOST, f"Missing in {session.title}.", actor.who, actor.now, actor.zone
        )
    sessions.close_session(db, session_id, note, actor.who, actor.now)


def comes_to(db: Session, session: WorkSession) -> Outcome:
    """What a count comes to as it stands."""
    expected, seen = list(reasons(db, session.id)), queries.seen(db, session.id)
    items = item_facts(db, {*expected, *seen})
    states = {item_id: item.state for item_id, item in items.items()}
    return outcome(expected, seen, states, queries.homes(db, items), queries.walked(db, session.id))


def _bring_back(db: Session, session: WorkSession, result: Outcome, item_id: UUID, actor: Actor) -> ItemState:
    if item_id not in result.found_again:
        raise invalid("found", "One of those found again is not lost any more. Look at the list again.")
    earlier = [ItemState(step.to_state) for step in gear.states(db, item_id)]
    home = home_state(earlier)
    to = state_after(home, home, FaultStatus.NONE, fault_status_of(db, item_id))
    testlog.change_state(db, item_id, to, f"Found in {session.title}.", actor.who, actor.now, actor.zone)
    return ItemState(db.get_one(Item, item_id).state)


def _held_count(db: Session, session_id: UUID) -> WorkSession:
    session = lock_open_session(db, session_id)
    if session.kind != SessionKind.COUNT:
        raise Conflict("This is a session of tests, not a count. Open a count to check what is there.")
    return session
