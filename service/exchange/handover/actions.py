"""Handing the program over: a link by which the next lead becomes the lead and the old one's access ends."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID, uuid4

from sqlalchemy.orm import Session

from service.crew import access, core
from service.crew import actions as crew
from service.crew.core import Actor, Role, Who
from service.crew.links import NewLink, new_secret
from service.crew.models import Person
from service.crew.queries import note_in_audit
from service.exchange.handover import queries
from service.exchange.handover.models import HandOver
from service.kit.problems import NotFound

LASTS = timedelta(days=3)
_NOT_VALID = (
    "This link is not valid, or no longer: each works once, for three days. Ask the lead for a new one. Whoever runs "
    "the service can always make one with coilbook pass --role lead."
)


@dataclass(frozen=True)
class HandoverOffer:
    """What a link offers: the program, the lead who hands it over, and until when."""

    from_name: str
    expires_at: datetime


def make_link(db: Session, actor: Actor) -> NewLink:
    """Make a link that hands the program over; earlier links of the same lead end."""
    for link in queries.open_links(db, actor.now, actor.who.id):
        link.end(actor.now)
    secret = new_secret()
    link = HandOver(
        id=uuid4(),
        secret_hash=core.fingerprint(secret),
        made_by=actor.who.id,
        to_id=None,
        created_at=actor.now,
        expires_at=actor.now + LASTS,
        ended_at=None,
    )
    db.add(link)
    note_in_audit(db, actor.now, actor.who.id, "hand_over.offered", str(actor.who.id))
    return NewLink(link.id, secret, link.expires_at)


def end_link(db: Session, link_id: UUID, actor: Actor) -> None:
    """End a link, so that it hands over nothing any more.

    Raises:
        NotFound: there is no such link.
    """
    link = db.get(HandOver, link_id)
    if link is None:
        raise NotFound("There is no such link.")
    access.end_link(db, link, actor.now, actor.who.id)


def get_offer(db: Session, typed: str, now: datetime) -> HandoverOffer:
    """What a link offers, read before it is used, in a session that only reads.

    Raises:
        Gone: the link has ended, was used, or never existed (a stranger does not learn which).
    """
    link, old = _link(db, typed, now, lock=False)
    return HandoverOffer(old.display_name, link.expires_at)


def take_over(db: Session, typed: str, name: str, now: datetime) -> tuple[Who, str]:
    """Become the lead; the access of the lead who made the link ends. Returns the token for the cookie.

    Raises:
        Gone: the link has ended, was used, or never existed.
        Invalid: the name cannot be shown, or is taken.
    """
    link, old = _link(db, typed, now)
    new = crew.add_person(db, name, Role.LEAD, now)
    link.to_id = new.id
    link.end(now)
    access.end_access(db, old, now, new.id)
    note_in_audit(db, now, new.id, core.HANDED_OVER, str(new.id), {"from": str(old.id)})
    return Who(new.id, new.display_name, Role.LEAD), crew.start_sign_in(db, new, now, now + core.LEAD_LONGEST)


def _link(db: Session, typed: str, now: datetime, *, lock: bool = True) -> tuple[HandOver, Person]:
    link = access.get_link(db, HandOver, core.tidy_secret(typed), now, _NOT_VALID, lock=lock)
    return link, db.get_one(Person, link.made_by)
