"""Links that let somebody in by a secret: crew passes, links for one lead, hand-overs, the calendar's address.

Each is a row with the fingerprint of its secret, which is shown once, when it is made. It is valid until it is ended,
runs out or is used up; features keep what else they need beside it, in tables of their own.
"""

import random
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Mapped, Session, mapped_column

from service.crew.core import LINK_LETTERS, RandomSource, fingerprint, secret
from service.kit.problems import Gone

_RANDOM = random.SystemRandom()


class UnknownLink(Gone):
    """No such link was ever made: somebody guesses, or mistyped. The sentence is that of a link that has ended."""


class SecretLink:
    """What the tables of links have in common."""

    id: Mapped[UUID] = mapped_column(primary_key=True)
    secret_hash: Mapped[str] = mapped_column(unique=True)
    created_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]

    def is_over(self, now: datetime) -> bool:
        """Whether it lets nobody in any more."""
        return self.ended_at is not None

    def end(self, now: datetime) -> bool:
        """Let nobody in with it any more; False where it was ended before, and that time stays."""
        if self.ended_at is not None:
            return False
        self.ended_at = now
        return True


class ExpiringLink(SecretLink):
    """A link that also runs out by itself."""

    expires_at: Mapped[datetime]

    def is_over(self, now: datetime) -> bool:
        """Whether it was ended, or has run out."""
        return super().is_over(now) or self.expires_at <= now


@dataclass(frozen=True)
class NewLink:
    """A link just made, with its secret: shown once, stored as a fingerprint only."""

    id: UUID
    secret: str
    expires_at: datetime


L = TypeVar("L", bound=SecretLink)


def new_secret(letters: int = LINK_LETTERS, source: RandomSource = _RANDOM) -> str:
    """A secret to be read aloud and typed; as long as a link's it is beyond guessing."""
    return secret(source, letters)


def link_with(db: Session, table: type[L], typed: str, now: datetime, not_valid: str, *, lock: bool = True) -> L:
    """The valid link with this secret, locked for use.

    Args:
        typed: the secret as it is stored; `core.tidy_secret` makes it of one that was typed.
        not_valid: the sentence of all refusals: a stranger learns no more.
        lock: False in a session that only reads.

    Raises:
        UnknownLink: it never was.
        Gone: it has ended, run out or was used up.
    """
    query = select(table).where(table.secret_hash == fingerprint(typed))
    link = db.scalar(query.with_for_update() if lock else query) if typed else None
    if link is None:
        raise UnknownLink(not_valid)
    if link.is_over(now):
        raise Gone(not_valid)
    return link
