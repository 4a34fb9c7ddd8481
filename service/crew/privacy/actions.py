"""Anonymizing names: of one person at once by a lead, of students in time by housekeeping."""

from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew import access
from service.crew import queries as crew
from service.crew.actions import refuse_last_lead
from service.crew.core import Actor
from service.crew.models import Person
from service.crew.privacy import queries
from service.crew.privacy.core import is_anonymous, next_anonymous_name
from service.kit.problems import NotFound


def erase(db: Session, person_id: UUID, actor: Actor) -> str:
    """Replace a person's name and end all access; what they logged stays. Returns the new name.

    Doing it again changes nothing.

    Raises:
        NotFound: there is no such person.
        Conflict: it would leave the program without a lead.
    """
    person = db.get(Person, person_id)
    if person is None:
        raise NotFound("There is no such person here.")
    if is_anonymous(person.display_name) and person.ended_at is not None:
        return person.display_name
    if person.ended_at is None:
        refuse_last_lead(db, person)
    new_name = anonymize(db, person, actor.now, actor.who.id)
    crew.note_in_audit(db, actor.now, actor.who.id, "person.erased", str(person.id))
    return new_name


def anonymize(db: Session, person: Person, now: datetime, by: UUID | None = None) -> str:
    """Put "Tester n" wherever a name of the person's stands, and end their access (`by` whom); the new name.

    Their earlier names are replaced too.
    A pass carries a name, not a person: while somebody else has the same name, it may be theirs, and it stays until
    their name is anonymized too.
    """
    access.end_access(db, person, now, by)
    names, new_name = queries.names_ever(db, person), next_anonymous_name(queries.given_names(db))
    person.display_name = new_name
    for name in names:
        shared = queries.another_is_called(db, name, person.id)
        queries.rename_passes(db, name, new_name, person.id if shared else None)
    queries.forget_changes(db, person.id)
    db.flush()
    return new_name
