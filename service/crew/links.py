"""Links that let somebody in by a secret: crew passes, links for one lead, hand-overs, the calendar's address.

Each is a row with the fingerprint of its secret, which is shown once, when it is made. It is valid until it is ended,
runs out or is used up; features keep what else they need beside it, in tables of their own. Who may come in by them,
and what ends with somebody's access, stands in `access`.
"""

import random
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Mapped, mapped_column

from service.crew.core import LINK_LETTERS, RandomSource, secret

_RANDOM = random.SystemRandom()


class SecretLink:
    """What the tables of links have in common. `END_WORD` is what the audit trail says when one is ended."""

    END_WORD: ClassVar[str]

    id: Mapped[UUID] = mapped_column(primary_key=True)
    secret_hash: Mapped[str] = mapped_column(unique=True)
    made_by: Mapped[UUID | None]
    created_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]

    @property
    def title(self) -> str:
        """What it is, to be read in a list: “Robin”, a link for a lead."""
        raise NotImplementedError

    @property
    def subject(self) -> str:
        """What the audit trail calls it."""
        raise NotImplementedError

    @property
    def ends_with_maker(self) -> bool:
        """Whether it counts only as long as the access of whoever made it."""
        raise NotImplementedError

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


def new_secret(letters: int = LINK_LETTERS, source: RandomSource = _RANDOM) -> str:
    """A secret to be read aloud and typed; as long as a link's it is beyond guessing."""
    return secret(source, letters)
