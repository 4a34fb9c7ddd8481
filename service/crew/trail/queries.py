"""Looking through the audit trail."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import Row, select
from sqlalchemy.orm import Session

from service.crew.models import AuditEntry, Person
from service.store.paging import beyond, cursor, position


@dataclass(frozen=True)
class Asked:
    """What is looked for; None is anything. Days are given as the instants `since` and, not included, `until`."""

    person_id: UUID | None = None
    action: str | None = None
    since: datetime | None = None
    until: datetime | None = None


def entries(
    db: Session, asked: Asked, after: str | None, size: int
) -> tuple[Sequence[AuditEntry], str | None]:
    """A page of the trail, the newest first, and the cursor of the next one, if there is one."""
    query = select(AuditEntry).order_by(AuditEntry.at.desc(), AuditEntry.id.desc()).limit(size + 1)
    if asked.person_id:
        query = query.where(AuditEntry.person_id == asked.person_id)
    if asked.action:
        query = query.where(AuditEntry.action == asked.action)
    if asked.since:
        query = query.where(AuditEntry.at >= asked.since)
    if asked.until:
        query = query.where(AuditEntry.at < asked.until)
    if after:
        query = query.where(beyond((AuditEntry.at, AuditEntry.id), position(after, datetime, int), down=True))
    found = db.scalars(query).all()
    page = found[:size]
    return page, cursor(page[-1].at, page[-1].id) if len(found) > size else None


def actions_there(db: Session) -> Sequence[str]:
    """Every action that the trail holds."""
    return db.scalars(select(AuditEntry.action).distinct().order_by(AuditEntry.action)).all()


def actors(db: Session) -> Sequence[Row[UUID, str, datetime | None]]:
    """Everybody who is in the trail: id, name, and since when they are gone."""
    acted = select(AuditEntry.person_id).distinct()
    return db.execute(
        select(Person.id, Person.display_name, Person.ended_at)
        .where(Person.id.in_(acted))
        .order_by(Person.display_name, Person.id)
    ).all()
