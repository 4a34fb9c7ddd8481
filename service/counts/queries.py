"""Every look-up about counts, and keeping what was seen."""

from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from service.counts.core import Seen
from service.crew.models import Person
from service.gear.models import IS_PRESENT_PLACEMENT, Place, Placement
from service.store.sessions import chunks
from service.testlog.models import SESSION_IS_OPEN, SessionKind, WorkItem, WorkSeen, WorkSession, WorkWalked


def is_count(db: Session, session_id: UUID) -> bool:
    """Whether a session is a count."""
    query = select(WorkSession.id).where(WorkSession.id == session_id, WorkSession.kind == SessionKind.COUNT)
    return db.scalar(query) is not None


def open_count_at(db: Session, place_id: UUID) -> UUID | None:
    """The newest open count that asks what lives at a place."""
    return db.scalar(
        select(WorkSession.id)
        .join(WorkItem, WorkItem.session_id == WorkSession.id)
        .join(Placement, (Placement.item_id == WorkItem.item_id) & IS_PRESENT_PLACEMENT)
        .where(Placement.place_a_id == place_id, WorkSession.kind == SessionKind.COUNT, SESSION_IS_OPEN)
        .order_by(WorkSession.created_at.desc(), WorkSession.id)
        .limit(1)
    )


def seen(db: Session, session_id: UUID) -> dict[UUID, Seen]:
    """What was seen in a count, in time order."""
    query = (
        select(WorkSeen.item_id, WorkSeen.at, Person.display_name, Place.name, Place.id)
        .outerjoin(Person, Person.id == WorkSeen.person_id)
        .outerjoin(Place, Place.id == WorkSeen.place_id)
        .where(WorkSeen.session_id == session_id)
        .order_by(WorkSeen.at, WorkSeen.item_id)
    )
    return {item_id: Seen(at, by or "", place or "", key) for item_id, at, by, place, key in db.execute(query)}


def last_place(db: Session, session_id: UUID, person_id: UUID | None) -> UUID | None:
    """Where somebody saw something last in a count."""
    query = select(WorkSeen.place_id).where(
        WorkSeen.session_id == session_id, WorkSeen.person_id == person_id, WorkSeen.place_id.is_not(None)
    )
    return db.scalar(query.order_by(WorkSeen.at.desc()).limit(1))


def walked(db: Session, session_id: UUID) -> set[UUID]:
    """The places that somebody went through in a count."""
    return set(db.scalars(select(WorkWalked.place_id).where(WorkWalked.session_id == session_id)))


def keep_walked(db: Session, session_id: UUID, place_id: UUID, person_id: UUID | None, at: datetime) -> None:
    """Store, once, that somebody went through a place."""
    if db.get(WorkWalked, (session_id, place_id)) is None:
        db.add(WorkWalked(session_id=session_id, place_id=place_id, person_id=person_id, at=at))
        db.flush()


def homes(db: Session, item_ids: Collection[UUID]) -> dict[UUID, tuple[UUID | None, UUID | None]]:
    """The places where each of these items lives now; a chained cable spans two."""
    query = select(Placement.item_id, Placement.place_a_id, Placement.place_b_id)
    places: dict[UUID, tuple[UUID | None, UUID | None]] = dict.fromkeys(item_ids, (None, None))
    for ids in chunks(item_ids):
        for item_id, one, other in db.execute(query.where(Placement.item_id.in_(ids), IS_PRESENT_PLACEMENT)):
            places[item_id] = one, other
    return places


def keep_seen(
    db: Session,
    session_id: UUID,
    item_ids: Collection[UUID],
    place_id: UUID | None,
    person_id: UUID | None,
    at: datetime,
) -> int:
    """Store that these items were seen, each once, at the latest place. Returns how many are new."""
    before = {row.item_id: row for row in db.scalars(select(WorkSeen).where(WorkSeen.session_id == session_id))}
    new = [item_id for item_id in dict.fromkeys(item_ids) if item_id not in before]
    for row in (before[item_id] for item_id in item_ids if item_id in before):
        if place_id is not None and row.place_id != place_id:
            row.place_id, row.person_id, row.at = place_id, person_id, at
    db.add_all(
        WorkSeen(session_id=session_id, item_id=item_id, place_id=place_id, person_id=person_id, at=at)
        for item_id in new
    )
    db.flush()
    return len(new)


def forget_seen(db: Session, session_id: UUID, item_id: UUID) -> None:
    """Take back that an item was seen."""
    db.execute(delete(WorkSeen).where(WorkSeen.session_id == session_id, WorkSeen.item_id == item_id))
