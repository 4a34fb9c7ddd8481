"""Who may come in by a link, and what ends with somebody's access: one rule for the links of every feature.

A link that lets in a lead or a viewer, or hands the program over, counts only as long as whoever made it has access:
otherwise they would make one, be ended, and come in again by it under another name. Links that were made on the
computer that runs the service are nobody's, and a lead may have read them there, so they go with each lead who goes;
whoever runs the service makes new ones. Crew passes and links to the calendar are used by others for a season, so
they stay until a lead ends them: `may_know` lists those to ask about.
"""

from collections.abc import Iterable
from datetime import datetime
from typing import TypeVar
from uuid import UUID

from sqlalchemy import ColumnElement, or_, select
from sqlalchemy.orm import Session

from service.crew import queries
from service.crew.core import Role, fingerprint
from service.crew.links import SecretLink
from service.crew.models import CrewPass, Person, Program
from service.kit.problems import Gone
from service.kit.text import alike
from service.store.base import Base
from service.store.sessions import locked

L = TypeVar("L", bound=SecretLink)


class UnknownLink(Gone):
    """There never was such a link: a guess, or a typing error. It has the sentence of a link that has ended."""


def get_link(db: Session, table: type[L], secret: str, now: datetime, not_valid: str, *, lock: bool = True) -> L:
    """The valid link with this secret, locked for use.

    Args:
        secret: the link’s secret as it is stored; `core.tidy_secret` makes it of one that was typed.
        not_valid: the sentence of all refusals: a stranger learns no more.
        lock: False in a session that only reads.

    Raises:
        UnknownLink: it never was.
        Gone: it has ended, run out or was used up, or whoever made it has no access any more.
    """
    if lock:
        locked(db, Program, 1)  # ending somebody's access locks it too, so that the two are serialized
    query = select(table).where(table.secret_hash == fingerprint(secret))
    link = db.scalar(query.with_for_update() if lock else query) if secret else None
    if link is None:
        raise UnknownLink(not_valid)
    maker = db.get(Person, link.made_by) if link.ends_with_maker and link.made_by else None
    if link.is_over(now) or (maker is not None and maker.ended_at is not None):
        raise Gone(not_valid)
    return link


def end_link(db: Session, link: SecretLink, now: datetime, by: UUID | None) -> None:
    """End a link, and sign out the crew who came in by it; idempotent.

    A lead or viewer who came in by a link stays: their own access is ended by their name.
    """
    if not link.end(now):
        return
    if isinstance(link, CrewPass) and link.role == Role.CREW:
        queries.end_sign_ins_by_pass(db, link.id, now)
    queries.note_in_audit(db, now, by, link.END_WORD, link.subject)


def end_access(db: Session, person: Person, now: datetime, by: UUID | None) -> None:
    """End somebody's access and the links that would let them in again; what they logged stays."""
    locked(db, Program, 1)
    for link in ends_with(db, person, now):
        end_link(db, link, now, by)
    person.ended_at = person.ended_at or now
    person.email, person.passphrase_hash = None, None
    queries.end_sign_ins(db, person.id, now)
    queries.forget_devices(db, person.id)


def ends_with(db: Session, person: Person, now: datetime) -> list[SecretLink]:
    """The open links that end with somebody's access: those to sign in again, and those that they made or may have
    read on the computer that runs the service. What is made there after their access ended, they cannot know.
    """
    links: list[SecretLink] = []
    for table in _tables():
        theirs = table.made_by == person.id
        if person.role == Role.LEAD and person.ended_at is None:
            theirs = or_(theirs, table.made_by.is_(None))
        links += [link for link in _open(db, table, now, theirs) if link.ends_with_maker]
    again = _open(db, CrewPass, now, CrewPass.person_id == person.id)
    return links + [link for link in again if link not in links]


def may_know(db: Session, person: Person, now: datetime) -> list[SecretLink]:
    """The open links that stay, and by which somebody whose access ends could still come or read: crew passes, links
    to the calendar that they made, links that another lead made for one of their name, and links of those whom they let
    in, and who may be the same person under another name.
    """
    ending, let_in = ends_with(db, person, now), queries.let_in_by(db, person.id)
    links: list[SecretLink] = []
    for table in _tables():
        links += [
            link
            for link in _open(db, table, now)
            if link not in ending and (link.made_by in {person.id, *let_in} or _lets_in(link, person))
        ]
    return links


def ended_with(db: Session, person: Person) -> list[SecretLink]:
    """The links that were ended together with somebody's access."""
    links: list[SecretLink] = []
    for table in _tables():
        query = select(table).where(table.ended_at == person.ended_at)
        links += db.scalars(query.order_by(table.created_at, table.id))
    return links


def end_those(db: Session, links: Iterable[SecretLink], chosen: Iterable[str], now: datetime, by: UUID) -> None:
    """End those of these links whose ids were chosen on a page."""
    ids = set(chosen)
    for link in links:
        if str(link.id) in ids:
            end_link(db, link, now, by)


def _lets_in(link: SecretLink, person: Person) -> bool:
    return isinstance(link, CrewPass) and (link.role == Role.CREW or alike(link.label, person.display_name))


def _tables() -> list[type[SecretLink]]:
    """Every table of links, of whatever feature."""
    mapped = (mapper.class_ for mapper in Base.registry.mappers)
    return sorted((each for each in mapped if issubclass(each, SecretLink)), key=lambda each: each.__name__)


def _open(db: Session, table: type[L], now: datetime, *which: ColumnElement[bool]) -> list[L]:
    query = select(table).where(table.ended_at.is_(None), *which).order_by(table.created_at, table.id)
    return [link for link in db.scalars(query) if not link.is_over(now)]
