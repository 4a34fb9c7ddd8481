"""Whose names are kept, and every place where one stands."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from sqlalchemy import ColumnElement, func, or_, select, update
from sqlalchemy.orm import Session

from service.crew.core import NAMED, Role
from service.crew.models import AuditEntry, CrewPass, Person, SignIn
from service.crew.privacy.core import is_anonymous


def list_named_crew(db: Session) -> list[tuple[UUID, datetime]]:
    """Every crew member whose name is still kept, with when they last came in. Tokens are no people."""
    came = select(SignIn.person_id, func.max(SignIn.created_at).label("at")).group_by(SignIn.person_id).subquery()
    tools = select(SignIn.person_id).where(SignIn.token_name.is_not(None))
    rows = db.execute(
        select(Person.id, Person.display_name, Person.created_at, came.c.at)
        .outerjoin(came, came.c.person_id == Person.id)
        .where(Person.role == Role.CREW, Person.id.not_in(tools))
        .order_by(Person.created_at, Person.id)
    )
    return [(row.id, max(row.created_at, row.at or row.created_at)) for row in rows if not is_anonymous(row[1])]


def list_former(db: Session) -> Sequence[Person]:
    """Those who have no access any more but whose names are still kept."""
    former = db.scalars(select(Person).where(Person.ended_at.is_not(None)).order_by(Person.display_name))
    return [person for person in former if not is_anonymous(person.display_name)]


def given_names(db: Session) -> Sequence[str]:
    """Every name that begins like one that the service gives."""
    return db.scalars(select(Person.display_name).where(Person.display_name.startswith("Tester "))).all()


def another_is_called(db: Session, name: str, person_id: UUID) -> bool:
    """Whether somebody else goes, or went, by exactly this name."""
    query = select(Person.id).where(Person.display_name == name, Person.id != person_id)
    return db.scalar(query.limit(1)) is not None


def names_ever(db: Session, person: Person) -> list[str]:
    """The name that somebody has, and those that they had before."""
    changes = db.scalars(select(AuditEntry.detail).where(*_changes_of(person.id)).order_by(AuditEntry.id.desc()))
    return list(dict.fromkeys([person.display_name, *(detail["name"][0] for detail in changes if detail)]))


def forget_changes(db: Session, person_id: UUID) -> None:
    """Take the names that somebody had before out of the audit trail: that they were changed stays."""
    db.execute(update(AuditEntry).where(*_changes_of(person_id)).values(detail=None))


def _changes_of(person_id: UUID) -> tuple[ColumnElement[bool], ...]:
    return (AuditEntry.action == NAMED, AuditEntry.subject == str(person_id))


def rename_passes(db: Session, name: str, new_name: str, of: UUID | None) -> None:
    """Take a name off passes and links, and out of the audit trail where one was called by it.

    Args:
        of: only off the links made for this person, and what they themselves did by them; None: off all.
    """
    passes = update(CrewPass).where(CrewPass.label == name)
    trail = update(AuditEntry).where(
        AuditEntry.subject == name,
        or_(AuditEntry.action.startswith("pass."), AuditEntry.action == "joined"),
    )
    if of is not None:
        passes = passes.where(CrewPass.person_id == of)
        trail = trail.where(AuditEntry.person_id == of)
    db.execute(passes.values(label=new_name))
    db.execute(trail.values(subject=new_name))
