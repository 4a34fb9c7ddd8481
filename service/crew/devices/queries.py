"""Where somebody is signed in."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.crew.models import SignIn
from service.crew.queries import counts, end_where


@dataclass(frozen=True)
class Device:
    """A browser that is signed in: since when, until when (None: until it is ended), and whether it is this one.

    Nothing is kept that would tell a phone from a laptop, and no request writes down that it was used.
    """

    id: int
    began: datetime
    ends: datetime | None
    here: bool


def devices_of(db: Session, person_id: UUID, token_hash: str, now: datetime) -> list[Device]:
    """Where a person is signed in, the newest first; `token_hash` is this one's. API tokens are no devices."""
    rows = db.execute(
        select(SignIn.id, SignIn.created_at, SignIn.expires_at, SignIn.token_hash)
        .where(SignIn.person_id == person_id, SignIn.token_name.is_(None), counts(now))
        .order_by(SignIn.created_at.desc(), SignIn.id.desc())
    )
    return [Device(row.id, row.created_at, row.expires_at, row.token_hash == token_hash) for row in rows]


def end(db: Session, device: Device, now: datetime) -> None:
    """End what signs a device in."""
    end_where(db, now, SignIn.id == device.id)
