"""Look-ups and inserts about people."""

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Row, and_, bindparam, func, or_, select, update
from sqlalchemy.orm import Session

from service.crew.core import HANDED_OVER, ProgramFacts, Role, Who
from service.crew.models import PERSON_IS_HERE, AuditEntry, CrewPass, Person, Program, SignIn
from service.kit.text import alike
from service.store.engine import Instant


def program(db: Session) -> Program | None:
    """The program, or None in a database that has not been named yet."""
    return db.scalar(select(Program))


def counts(now: Any) -> ColumnElement[bool]:
    """The condition that a sign-in is valid at this moment: neither ended nor expired."""
    return and_(SignIn.ended_at.is_(None), or_(SignIn.expires_at.is_(None), SignIn.expires_at > now))


# Every request executes one of these, so they are built once and run without the ORM.
_PROGRAM = select(
    Program.name,
    Program.zone,
    Program.unit,
    Program.return_note,
    Program.housekept_on,
    Program.end_a,
    Program.end_b,
)
_ASKING = (
    _PROGRAM.add_columns(Person.id, Person.display_name, Person.role)
    .select_from(Program)
    .outerjoin(
        SignIn,
        and_(SignIn.token_hash == bindparam("token_hash"), counts(bindparam("now", type_=Instant()))),
    )
    .outerjoin(Person, and_(Person.id == SignIn.person_id, PERSON_IS_HERE))
)


def program_facts(db: Session) -> ProgramFacts | None:
    """The program's settings as plain values, which outlive the session."""
    row = db.connection().execute(_PROGRAM).one_or_none()
    return ProgramFacts(*row) if row else None


def find_requester(db: Session, token_hash: str, now: datetime) -> tuple[ProgramFacts | None, Who | None]:
    """The program, and the person whose valid sign-in has this token; None for what there is not."""
    row = db.connection().execute(_ASKING, {"token_hash": token_hash, "now": now}).one_or_none()
    if row is None:
        return None, None
    *facts, person_id, name, role = row
    return ProgramFacts(*facts), Who(person_id, name, Role(role)) if person_id else None


def handed_over_to(db: Session, token_hash: str) -> str | None:
    """The lead to whom the owner of this sign-in handed the program over; None if they did not."""
    old = db.scalar(select(SignIn.person_id).where(SignIn.token_hash == token_hash))
    taken = select(AuditEntry.detail, Person.display_name).join(Person, Person.id == AuditEntry.person_id)
    takeovers = db.execute(taken.where(AuditEntry.action == HANDED_OVER)).all() if old else []
    return next((name for detail, name in takeovers if (detail or {}).get("from") == str(old)), None)


def everybody(db: Session) -> Sequence[UUID]:
    """Everybody there ever was."""
    return db.scalars(select(Person.id)).all()


def people_named(db: Session, name: str) -> list[Person]:
    """The people with this name now, in any case, the longest here first."""
    present = select(Person.id, Person.display_name).where(PERSON_IS_HERE)
    rows = db.execute(present.order_by(Person.created_at, Person.id))
    return [db.get_one(Person, person_id) for person_id, called in rows if alike(called, name)]


def people(db: Session) -> Sequence[Person]:
    """Everybody with access, leads first."""
    present = db.scalars(select(Person).where(PERSON_IS_HERE).order_by(Person.display_name)).all()
    return sorted(present, key=lambda person: -list(Role).index(Role(person.role)))


def address_of(db: Session, person_id: UUID) -> str:
    """Somebody's mail address; "" if they have none."""
    return db.scalar(select(Person.email).where(Person.id == person_id)) or ""


def names_of(db: Session, person_ids: Collection[UUID | None]) -> dict[UUID | None, str]:
    """The display names of these people; None stands for the service itself."""
    rows = db.execute(select(Person.id, Person.display_name).where(Person.id.in_(set(person_ids) - {None})))
    return {None: "Coilbook"} | {person.id: person.display_name for person in rows}


def leads(db: Session) -> int:
    """How many leads there are."""
    return db.scalar(select(func.count()).where(Person.role == Role.LEAD, PERSON_IS_HERE)) or 0


def first_lead(db: Session) -> Person | None:
    """The lead who has been here longest."""
    return db.scalar(
        select(Person).where(Person.role == Role.LEAD, PERSON_IS_HERE).order_by(Person.created_at, Person.id).limit(1)
    )


def a_lead_can_sign_in(db: Session) -> bool:
    """Whether some lead has a passphrase."""
    query = select(Person.id).where(Person.role == Role.LEAD, PERSON_IS_HERE, Person.passphrase_hash.is_not(None))
    return db.scalar(query.limit(1)) is not None


def has_passphrase(db: Session, person_id: UUID) -> bool:
    """Whether somebody has a passphrase."""
    query = select(Person.id).where(Person.id == person_id, Person.passphrase_hash.is_not(None))
    return db.scalar(query) is not None


def open_passes(db: Session, now: datetime) -> Sequence[CrewPass]:
    """The valid passes, the newest first."""
    return db.scalars(
        select(CrewPass)
        .where(
            CrewPass.ended_at.is_(None),
            CrewPass.expires_at > now,
            or_(CrewPass.uses_left.is_(None), CrewPass.uses_left > 0),
        )
        .order_by(CrewPass.created_at.desc())
    ).all()


def people_by_passes_of(db: Session, maker_id: UUID) -> Sequence[Person]:
    """Leads and viewers with access who came in by a link that this person made, other than to sign in again, or by
    one of somebody who did.
    """
    query = select(Person).where(Person.id.in_(let_in_by(db, maker_id)), PERSON_IS_HERE)
    return db.scalars(query.order_by(Person.display_name, Person.id)).all()


def let_in_by(db: Session, maker_id: UUID) -> set[UUID]:
    """All who came in as a lead or viewer by a link of this person, by a link of one of these, and so on, whether they
    still have access or not: under another name it may be the same person.
    """
    came = select(SignIn.person_id).join(CrewPass, CrewPass.id == SignIn.pass_id).where(CrewPass.role != Role.CREW)
    everyone, last = {maker_id}, {maker_id}
    while last:
        last = set(db.scalars(came.where(CrewPass.made_by.in_(last)))) - everyone
        everyone |= last
    return everyone - {maker_id}


def find_ended_by(db: Session, by: UUID, person_id: UUID, since: datetime) -> datetime | None:
    """When this lead ended the access of somebody or erased them, if not before `since`."""
    query = select(func.max(AuditEntry.at)).where(
        AuditEntry.person_id == by,
        AuditEntry.subject == str(person_id),
        AuditEntry.action.in_(("person.ended", "person.erased")),
        AuditEntry.at >= since,
    )
    return db.scalar(query)


def passes_of(db: Session, person_id: UUID) -> Sequence[UUID]:
    """The passes by which somebody ever came in."""
    query = select(SignIn.pass_id).where(SignIn.person_id == person_id, SignIn.pass_id.is_not(None)).distinct()
    return [pass_id for pass_id in db.scalars(query) if pass_id is not None]


def tokens(db: Session) -> Sequence[Row[SignIn, Person]]:
    """The valid API tokens, with the person of each."""
    return db.execute(
        select(SignIn, Person)
        .join(Person, Person.id == SignIn.person_id)
        .where(SignIn.token_name.is_not(None), SignIn.ended_at.is_(None))
        .order_by(SignIn.created_at)
    ).all()


def end_sign_in(db: Session, token_hash: str, now: datetime) -> None:
    """End the sign-in with this token."""
    end_where(db, now, SignIn.token_hash == token_hash)


def end_sign_ins(db: Session, person_id: UUID, now: datetime) -> None:
    """End every sign-in of a person at once."""
    end_where(db, now, SignIn.person_id == person_id)


def forget_devices(db: Session, person_id: UUID) -> None:
    """Delete the devices on which a person signed in."""
    db.execute(update(SignIn).where(SignIn.person_id == person_id).values(device_hash=None))


def signed_in_by_pass(db: Session, pass_id: UUID, now: datetime) -> int:
    """How many browsers are signed in by this pass."""
    return db.scalar(select(func.count()).where(SignIn.pass_id == pass_id, counts(now))) or 0


def end_sign_ins_by_pass(db: Session, pass_id: UUID, now: datetime) -> None:
    """End every sign-in that began with this pass."""
    end_where(db, now, SignIn.pass_id == pass_id)


def end_other_browsers(db: Session, person_id: UUID, token_hash: str, now: datetime) -> None:
    """End a person's sign-ins on all other devices, but no API tokens."""
    others = SignIn.token_hash != token_hash
    end_where(db, now, SignIn.person_id == person_id, others, SignIn.token_name.is_(None))


def end_where(db: Session, now: datetime, *which: ColumnElement[bool]) -> None:
    """End these sign-ins; one that has ended before keeps its time."""
    db.execute(update(SignIn).where(SignIn.ended_at.is_(None), *which).values(ended_at=now))


def signed_in_at(db: Session, token_hash: str) -> datetime | None:
    """When the sign-in with this token began."""
    return db.scalar(select(SignIn.created_at).where(SignIn.token_hash == token_hash))


def note_in_audit(
    db: Session, at: datetime, person_id: UUID | None, action: str, subject: str, detail: Any = None
) -> None:
    """Add an entry to the audit trail."""
    db.add(AuditEntry(at=at, person_id=person_id, action=action, subject=subject, detail=detail))
