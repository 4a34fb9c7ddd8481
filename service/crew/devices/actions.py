"""Somebody signs out elsewhere: where a phone was lost, or somebody else's computer left signed in."""

from datetime import datetime

from sqlalchemy.orm import Session

from service.crew import queries as crew
from service.crew.core import Who
from service.crew.devices import queries
from service.kit.problems import NotFound


def end_device(db: Session, who: Who, typed: str, token_hash: str, now: datetime) -> None:
    """Sign out one of one's own devices; `typed` is its number in the address, `token_hash` that of this one.

    Raises:
        NotFound: none of one's own is signed in under this number.
    """
    mine = queries.devices_of(db, who.id, token_hash, now)
    device = next((device for device in mine if str(device.id) == typed), None)
    if device is None:
        raise NotFound("None of your devices is signed in under this number. My page lists those that are.")
    queries.end(db, device, now)
    crew.note_in_audit(db, now, who.id, "devices.signed_out", str(who.id), {"devices": 1})


def end_others(db: Session, who: Who, token_hash: str, now: datetime) -> None:
    """Sign out all of one's own devices but this one, whose fingerprint is `token_hash`; nothing where none is."""
    others = [device for device in queries.devices_of(db, who.id, token_hash, now) if not device.here]
    if others:
        crew.end_other_browsers(db, who.id, token_hash, now)
        crew.note_in_audit(db, now, who.id, "devices.signed_out", str(who.id), {"devices": len(others)})
