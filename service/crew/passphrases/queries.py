"""Look-ups of signing in by passphrase: people by name, known devices, and counted tries."""

from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from sqlalchemy import delete, or_, select, update
from sqlalchemy.orm import Session

from service.crew.models import PERSON_IS_HERE, Person, SignIn
from service.crew.passphrases.core import AHEAD, COUNTED, NETWORK_MINUTE, PassphraseTry
from service.crew.passphrases.models import SignInTry
from service.kit.text import alike


def passphrases_of(db: Session, name: str) -> list[tuple[UUID, str]]:
    """The people with this name and a passphrase, with its hash; the same statement whether there is one or not."""
    present = select(Person.id, Person.display_name, Person.passphrase_hash)
    rows = db.execute(present.where(PERSON_IS_HERE, Person.passphrase_hash.is_not(None)).order_by(Person.created_at))
    return [(person_id, stored) for person_id, called, stored in rows if stored and alike(called, name)]


def signed_in_on(db: Session, device_hash: str, person_ids: Collection[UUID] | None = None) -> bool:
    """Whether somebody, or one of these, ever signed in on this device."""
    query = select(SignIn.id).where(SignIn.device_hash == device_hash)
    if person_ids is not None:
        query = query.where(SignIn.person_id.in_(person_ids))
    return db.scalar(query.limit(1)) is not None


def remember_device(db: Session, token_hash: str, device_hash: str) -> None:
    """Save the device on which a sign-in began."""
    db.execute(update(SignIn).where(SignIn.token_hash == token_hash).values(device_hash=device_hash))


def tries(db: Session, like: PassphraseTry, now: datetime) -> list[tuple[datetime, PassphraseTry]]:
    """The tries that may count for one like this: of the same name, or from the same source."""
    of_source = SignInTry.source_hash == like.source
    if not like.known:
        of_source &= SignInTry.at > now - NETWORK_MINUTE.window
    rows = db.execute(
        select(SignInTry.at, SignInTry.name_hash, SignInTry.source_hash, SignInTry.known).where(
            SignInTry.at > now - COUNTED, or_(SignInTry.name_hash == like.name, of_source)
        )
    )
    return [(at, PassphraseTry(name, source, known)) for at, name, source, known in rows]


def forget_tries(db: Session, now: datetime) -> int:
    """Delete the tries that no longer count; return how many."""
    over = or_(SignInTry.at <= now - COUNTED, SignInTry.at > now + AHEAD)
    return db.execute(delete(SignInTry).where(over)).rowcount  # type: ignore[attr-defined, no-any-return]


def forget_try(db: Session, try_id: int | None) -> None:
    """Delete one try: it was right."""
    if try_id is not None:
        db.execute(delete(SignInTry).where(SignInTry.id == try_id))
