"""Actions on people: creating a program, passes, joining, signing in, tokens, ending access."""

import secrets
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID, uuid4

from sqlalchemy.orm import Session

from service.crew import access, core, queries
from service.crew.access import get_link
from service.crew.common_passphrases import is_common
from service.crew.core import NAMED, Actor, Role, Who
from service.crew.links import NewLink, new_secret
from service.crew.models import CrewPass, Person, Program, SignIn
from service.crew.privacy.core import is_anonymous
from service.kit.problems import Busy, Conflict, Gone, NotAllowed, NotFound, invalid
from service.store.sessions import locked

_PASS_LASTS = timedelta(days=120)
_NOT_VALID = "This pass is not valid, or no longer. Ask your lead for a new one."


@dataclass(frozen=True)
class NewPass(NewLink):
    """A new pass; `label` says for whom it is."""

    label: str


def found_program(db: Session, name: str, zone: str, now: datetime) -> Program:
    """The program's row, added if there is none yet."""
    program = queries.program(db)
    if program is None:
        program = Program(
            id=1,
            name=name,
            zone=zone,
            unit="feet",
            return_note="Please hand it to any member of our band.",
            housekept_on=None,
            created_at=now,
        )
        db.add(program)
        db.flush()
    return program


def keep_settings(db: Session, values: Mapping[str, str]) -> None:
    """Set the program's name, zone, unit, note to a finder and names of ends. A new zone changes days, so all due
    states are recomputed by the next housekeeping.
    """
    program = locked(db, Program, 1)
    if program.zone != values["zone"]:
        program.housekept_on = None
    for name, value in values.items():
        setattr(program, name, value)


def make_pass(db: Session, role: Role, label: str, maker: Who | None, now: datetime) -> NewPass:
    """A pass for the crew (many uses, a season long), or a link for one lead or viewer (one use, a day)."""
    many = role == Role.CREW
    return _keep_pass(db, role, label, maker, None, now, _PASS_LASTS if many else core.LINK_LASTS, None if many else 1)


def make_sign_in_link(db: Session, person: Person, now: datetime) -> NewPass:
    """A one-time link that signs a known person in again."""
    return _keep_pass(db, Role(person.role), person.display_name, None, person.id, now, core.LINK_LASTS, 1)


def first_link(db: Session, now: datetime) -> NewPass:
    """The one-time link of the first lead: signs in the lead there is, or makes one."""
    lead = queries.first_lead(db)
    return make_sign_in_link(db, lead, now) if lead else make_pass(db, Role.LEAD, core.FIRST_LEAD, None, now)


def make_pass_on_command(db: Session, role: Role, name: str, now: datetime) -> NewPass:
    """What `coilbook pass` makes: a link that signs a known lead or viewer in again, else a new pass."""
    named = queries.people_named(db, name) if name and role != Role.CREW else []
    for person in named:
        if person.role == role:
            return make_sign_in_link(db, person, now)
    return make_pass(db, role, name or core.unnamed(role), None, now)


def _keep_pass(
    db: Session,
    role: Role,
    label: str,
    maker: Who | None,
    person_id: UUID | None,
    now: datetime,
    lasts: timedelta,
    uses: int | None,
) -> NewPass:
    secret = new_secret(core.LINK_LETTERS if uses == 1 else core.PASS_LETTERS)
    made = CrewPass(
        id=uuid4(),
        secret_hash=core.fingerprint(secret),
        label=label,
        role=role,
        person_id=person_id,
        made_by=maker.id if maker else None,
        uses_left=uses,
        created_at=now,
        expires_at=now + lasts,
        ended_at=None,
    )
    db.add(made)
    queries.note_in_audit(db, now, made.made_by, "pass.made", label, {"role": role})
    return NewPass(made.id, secret, made.expires_at, label)


def check_pass(db: Session, typed: str, now: datetime) -> None:
    """Check that a pass is valid, in a session that only reads.

    Raises:
        Gone: it does not (`UnknownLink`: it never did).
    """
    get_link(db, CrewPass, core.tidy_secret(typed), now, _NOT_VALID, lock=False)


def join(db: Session, typed: str, name: str, now: datetime, *, sure: bool = True) -> tuple[Who, str]:
    """Join with a pass: return the person, new or named by the link, and the token for the cookie. Without a typed name
    an invited person gets the name of the invitation.

    Args:
        sure: take a student's name as it is; otherwise one that looks like a full name is refused.

    Raises:
        Invalid: the name cannot be shown, or is one too many.
        Gone: the pass has ended, or the access of the one it names, it was used, or never was (a stranger learns no
            more).
    """
    used = get_link(db, CrewPass, core.tidy_secret(typed), now, _NOT_VALID)
    person = db.get(Person, used.person_id) if used.person_id else None
    if person is not None and person.ended_at:
        raise Gone(_NOT_VALID)
    if used.uses_left is not None:
        used.uses_left -= 1
    if person is None:
        name = name if name.strip() or used.uses_left is None else core.invited(used.label)
        _refuse_full(name, used.role, sure=sure)
        person = add_person(db, name, Role(used.role), now)
        queries.note_in_audit(db, now, person.id, "joined", used.label, {"role": used.role})
    else:
        queries.note_in_audit(db, now, person.id, "signed.in", str(person.id), {"by": "a link"})
    until = used.expires_at if person.role == Role.CREW else now + core.LEAD_LONGEST
    who = Who(person.id, person.display_name, Role(person.role))
    return who, start_sign_in(db, person, now, until, pass_id=used.id)


def add_person(db: Session, name: str, role: Role, now: datetime) -> Person:
    """Add a person. Crew members may share a name, but not with a lead or viewer, who sign in by it."""
    display_name = _free_name(db, name, role)
    person = Person(
        id=uuid4(), display_name=display_name, role=role, passphrase_hash=None, created_at=now, ended_at=None
    )
    db.add(person)
    db.flush()
    return person


def rename(db: Session, who: Who, typed: str, now: datetime, *, sure: bool) -> None:
    """Change one's name, under the rules of a new one; all that one did is shown with it from now on.

    Args:
        sure: as `join` has it.

    Raises:
        Invalid: the name cannot be shown, or somebody else is known by it.
    """
    _refuse_full(typed, who.role, sure=sure)
    name = _free_name(db, typed, who.role, who.id)
    person: Person = locked(db, Person, who.id)
    if name != person.display_name:
        queries.note_in_audit(db, now, who.id, NAMED, str(who.id), {"name": [person.display_name, name]})
        person.display_name = name


def _refuse_full(name: str, role: str, *, sure: bool) -> None:
    if role == Role.CREW and not sure and core.looks_full(core.tidy_name(name)):
        raise invalid("name", "This looks like a full name; a first name is enough. Send it again to keep it so.")


def _free_name(db: Session, typed: str, role: str, by_now: UUID | None = None) -> str:
    """The tidied name. Only crew may share a name, and only with crew; `by_now` is the person who has it already."""
    name = core.tidy_name(typed)
    # Otherwise the person would count as anonymized, and their earlier names would stay.
    if is_anonymous(name):
        raise invalid("name", f"Coilbook calls people {name} whose names it let go. Take another name.")
    locked(db, Program, 1)  # serializes two people who take the same name at once
    others = [each for each in queries.people_named(db, name) if each.id != by_now]
    if any(role != Role.CREW or each.role != Role.CREW for each in others):
        raise invalid("name", f"Somebody is called {name} already. Take another name.")
    return name


def start_sign_in(
    db: Session,
    person: Person,
    now: datetime,
    until: datetime | None,
    token_name: str = "",
    *,
    pass_id: UUID | None = None,
) -> str:
    """Add a sign-in and return its token, of which only the fingerprint is stored."""
    token = secrets.token_urlsafe(32)
    db.add(
        SignIn(
            person_id=person.id,
            token_hash=core.fingerprint(token),
            token_name=token_name or None,
            pass_id=pass_id,
            created_at=now,
            expires_at=until,
            ended_at=None,
        )
    )
    return token


def refuse_common(passphrase: str) -> None:
    """Refuse common passphrases, which are guessed first.

    Raises:
        Invalid: it is one of the 1.5 million of twelve characters and more that leaked most often, in its case or in
            small letters.
    """
    try:
        common = is_common(passphrase) or is_common(passphrase.lower())
    except FileNotFoundError as error:
        raise Busy("Passphrases cannot be checked: set-up was not finished. Run deploy/setup.sh once more.") from error
    if common:
        raise invalid(
            "passphrase",
            "Many people use this passphrase, so it is guessed first. Four random words do well.",
        )


def keep_address(db: Session, who: Who, typed: str, now: datetime) -> None:
    """Set one's mail address, or remove it if nothing was typed.

    Raises:
        NotAllowed: for the crew, of whom nothing but a name is kept.
    """
    if who.role == Role.CREW:
        raise NotAllowed("Of the crew only the name is kept, so there is nowhere to send mail to.")
    address = core.tidy_address(typed)
    db.get_one(Person, who.id).email = address
    queries.note_in_audit(db, now, who.id, "address.kept" if address else "address.forgotten", str(who.id))


def make_token(db: Session, name: str, role: Role, now: datetime) -> str:
    """An API token that acts under its own name.

    Raises:
        Invalid: the name is taken.
    """
    if role == Role.STRANGER:
        raise invalid("role", "A token needs one of the roles crew, lead or viewer.")
    display_name = core.tidy_name(name)
    if queries.people_named(db, display_name):
        raise invalid("name", f"Somebody is called {display_name} already. Give the token another name.")
    person = add_person(db, display_name, role, now)
    queries.note_in_audit(db, now, None, "token.made", display_name, {"role": role})
    return start_sign_in(db, person, now, None, display_name)


def get_pass(db: Session, pass_id: UUID) -> CrewPass:
    """The pass with this id.

    Raises:
        NotFound: there is none.
    """
    crew_pass = db.get(CrewPass, pass_id)
    if crew_pass is None:
        raise NotFound("There is no such pass.")
    return crew_pass


def end_pass(db: Session, pass_id: UUID, actor: Actor) -> None:
    """End a pass, and sign out the crew members who came in by it."""
    access.end_link(db, get_pass(db, pass_id), actor.now, actor.who.id)


def end_person(db: Session, person_id: UUID, actor: Actor, also: Collection[str] = ()) -> None:
    """End somebody's access; what they logged stays.

    Args:
        also: ids of links that they may know, and that end with it.

    Raises:
        NotFound: there is no such person, or no longer.
        Conflict: it would leave the program without a lead.
    """
    locked(db, Program, 1)  # two leads who end each other take turns
    person = db.get(Person, person_id)
    if person is None or person.ended_at:
        raise NotFound("There is no such person here any more.")
    refuse_last_lead(db, person)
    access.end_those(db, access.may_know(db, person, actor.now), also, actor.now, actor.who.id)
    access.end_access(db, person, actor.now, actor.who.id)
    queries.note_in_audit(db, actor.now, actor.who.id, "person.ended", str(person.id))


def refuse_last_lead(db: Session, person: Person) -> None:
    """Refuse to end the program's only lead.

    Raises:
        Conflict: this is the one.
    """
    locked(db, Program, 1)  # two leads who end each other take turns
    if person.role == Role.LEAD and queries.leads(db) == 1:
        raise Conflict(f"{person.display_name} is the only lead. Make another lead first.")


def sign_out(db: Session, token: str, now: datetime) -> None:
    """End the sign-in of this browser."""
    queries.end_sign_in(db, core.fingerprint(token), now)
