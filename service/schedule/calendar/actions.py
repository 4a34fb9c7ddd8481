"""Adding and ending links to the calendar."""

import secrets
from uuid import UUID, uuid4

from sqlalchemy.orm import Session

from service.crew import access
from service.crew.core import Actor, fingerprint
from service.crew.queries import note_in_audit
from service.kit.problems import NotFound, invalid
from service.schedule.calendar import queries
from service.schedule.calendar.models import CalendarLink

SECRET_BYTES = 24
"""192 bits: the link alone lets people read the feed, so it must be beyond guessing."""
LABEL_MOST = 60


def make_link(db: Session, label: str, actor: Actor) -> str:
    """Add a link; return its secret, which is shown once and stored as a fingerprint only.

    Raises:
        Invalid: nothing says whom it is for, so that nobody would know when to end it.
    """
    label = " ".join(label.split())
    if not label:
        raise invalid("label", "Say whom the link is for, so that you know later which one to end.")
    if len(label) > LABEL_MOST:
        raise invalid("label", f"This has {len(label)} characters; {LABEL_MOST} are the most.")
    secret = secrets.token_urlsafe(SECRET_BYTES)
    db.add(
        CalendarLink(
            id=uuid4(),
            secret_hash=fingerprint(secret),
            label=label,
            made_by=actor.who.id,
            created_at=actor.now,
            ended_at=None,
        )
    )
    note_in_audit(db, actor.now, actor.who.id, "calendar.link_made", label)
    return secret


def end_link(db: Session, link_id: UUID, actor: Actor) -> None:
    """End a link; idempotent.

    Raises:
        NotFound: there is no such link.
    """
    link = queries.link(db, link_id)
    if link is None:
        raise NotFound("There is no such calendar link. Look at the list of those that count.")
    access.end_link(db, link, actor.now, actor.who.id)
