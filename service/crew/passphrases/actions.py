"""Signing in by passphrase and setting one, in three steps: look up, hash, write.

The look-up and the write are short transactions; the hash, which takes long, is between them and in none. A try is
counted before it is hashed, and removed if it was right, so that any number of tries at once, from any number of
workers, stays within the limits. Only tries that are hashed are written, so a flood of tries is never a flood of
writes: the queue lets about twenty a second through.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew import core
from service.crew import queries as crew
from service.crew.actions import refuse_common, start_sign_in
from service.crew.core import Role, Who, fingerprint
from service.crew.hashing import hash_passphrase, passphrase_matches
from service.crew.models import Person, Program
from service.crew.passphrases import queries
from service.crew.passphrases.core import PassphraseTry, refuse_too_many
from service.crew.passphrases.models import SignInTry
from service.kit.problems import SignInNeeded, invalid
from service.kit.text import folded
from service.store.sessions import Store, locked

_WRONG = "Name and passphrase do not belong together. Try again, or ask for a sign-in link."


@dataclass(frozen=True)
class PassphraseCheck:
    """A passphrase to check: whose it may be (ids and hashes), and how the try counts (None: without limits)."""

    typed: str
    people: list[tuple[UUID, str]]
    counts_as: PassphraseTry | None
    from_known: bool


@dataclass(frozen=True)
class CheckedPassphrase:
    """The result: whose it is, with the matching hash, None if it is wrong; and the try that was counted."""

    right: tuple[UUID, str] | None
    try_id: int | None


def look_up(
    db: Session, name: str, typed: str, network: str, device: str, now: datetime, *, limits: bool
) -> PassphraseCheck:
    """Find the people with a name, and check that the limits allow one more try; nothing is written.

    Args:
        network, device: where it comes from: the network, and the device's token, empty where it brought none.

    Raises:
        TooFast: the limits are used up.
    """
    people = queries.passphrases_of(db, name.strip())
    known = bool(device) and queries.signed_in_on(db, fingerprint(device), [person_id for person_id, _ in people])
    source = fingerprint(device if known else network)
    counts_as = PassphraseTry(fingerprint(folded(name.strip())), source, known) if limits else None
    if counts_as:
        refuse_too_many(now, counts_as, queries.tries(db, counts_as, now))
    return PassphraseCheck(typed, people, counts_as, known)


def compare(store: Store, wanted: PassphraseCheck, now: datetime) -> CheckedPassphrase:
    """Count the try, then hash, in the hashing queue. It takes as long if there is nobody of that name.

    Raises:
        TooFast: others have used up the limits meanwhile.
    """
    try_id = _count(store, wanted.counts_as, now) if wanted.counts_as else None
    if not wanted.people:
        passphrase_matches(None, wanted.typed)
    right = next(((key, stored) for key, stored in wanted.people if passphrase_matches(stored, wanted.typed)), None)
    return CheckedPassphrase(right, try_id)


def _count(store: Store, counts_as: PassphraseTry, now: datetime) -> int:
    with store.writing() as db:
        locked(db, Program, 1)  # serializes the counts of several workers
        queries.forget_tries(db, now)
        refuse_too_many(now, counts_as, queries.tries(db, counts_as, now))
        row = SignInTry(at=now, name_hash=counts_as.name, source_hash=counts_as.source, known=counts_as.known)
        db.add(row)
        db.flush()
        return row.id


def sign_in(db: Session, checked: CheckedPassphrase, now: datetime) -> tuple[Who, str]:
    """Sign in the person whose passphrase it was; return the token for the cookie.

    Raises:
        SignInNeeded: it was wrong, or their access ended or their passphrase changed meanwhile.
    """
    person: Person | None = locked(db, Person, checked.right[0]) if checked.right else None
    if person is None or person.ended_at or checked.right != (person.id, person.passphrase_hash):
        raise SignInNeeded(_WRONG)
    queries.forget_try(db, checked.try_id)
    crew.note_in_audit(db, now, person.id, "signed.in", str(person.id))
    who = Who(person.id, person.display_name, Role(person.role))
    return who, start_sign_in(db, person, now, now + core.LEAD_LONGEST)


def remember_device(db: Session, who: Who, token: str, brought: str) -> str:
    """The token by which a lead's device is known again, kept with the sign-in that began there; empty for others,
    who have no passphrase. One that it brought is its own if somebody signed in on it before.
    """
    if who.role != Role.LEAD:
        return ""
    mine = bool(brought) and queries.signed_in_on(db, fingerprint(brought))
    device = brought if mine else secrets.token_urlsafe(32)
    queries.remember_device(db, fingerprint(token), fingerprint(device))
    return device


def look_up_own(
    db: Session, who: Who, current: str, session: str, now: datetime, *, limits: bool
) -> PassphraseCheck | None:
    """The current passphrase to check before somebody sets a new one. None if that is not required: there is none, or
    they have just signed in, perhaps by a link because they forgot it.

    Args:
        session: the fingerprint of the sign-in.

    Raises:
        TooFast: it was guessed too often.
    """
    stored, began = db.get_one(Person, who.id).passphrase_hash, crew.signed_in_at(db, session)
    if stored is None or (began is not None and now - began <= core.JUST_CAME):
        return None
    counts_as = PassphraseTry(fingerprint(str(who.id)), session, known=True) if limits else None
    if counts_as:
        refuse_too_many(now, counts_as, queries.tries(db, counts_as, now))
    return PassphraseCheck(current, [(who.id, stored)], counts_as, from_known=True)


def read_new(typed: str, name: str, program: str) -> str:
    """A passphrase that somebody chose.

    Raises:
        Invalid: it is too easy, or a commonly used one.
    """
    refuse_common(core.read_passphrase(typed, name, program))
    return typed


def compare_own(store: Store, wanted: PassphraseCheck | None, new: str, now: datetime) -> tuple[int | None, str]:
    """Compare with the one that counts until now, and hash the new one, for the hashing queue; the counted try, and
    the hash.

    Raises:
        Invalid: the current one is wrong.
        TooFast: it was guessed too often.
    """
    checked = compare(store, wanted, now) if wanted else None
    if checked and not checked.right:
        raise invalid("current", "This is not your passphrase. If it is forgotten, come in by a new link.")
    return checked.try_id if checked else None, hash_passphrase(new)


def set_passphrase(db: Session, who: Who, hashed: str, try_id: int | None, session: str, now: datetime) -> None:
    """Set somebody's passphrase and sign out all their other devices; `session` is the fingerprint of this one."""
    db.get_one(Person, who.id).passphrase_hash = hashed
    queries.forget_try(db, try_id)
    crew.end_other_browsers(db, who.id, session, now)
    crew.note_in_audit(db, now, who.id, "passphrase.set", str(who.id))
