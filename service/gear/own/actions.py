"""Making and ending a program's own wiring. It cannot be changed, since tests refer to it by its key."""

import re
import unicodedata
from typing import Any, Final

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.crew.queries import note_in_audit
from service.gear.models import OwnWiring
from service.gear.own import queries
from service.gear.queries import own_wiring
from service.gear.wirings import WIRING_NAMES
from service.kit.problems import Conflict, NotFound, invalid
from service.kit.text import alike, can_be_shown
from service.store.sessions import locked
from service.wiring.own import parse_wiring

LONGEST_NAME: Final = 60
_LONGEST_KEY: Final = 40


def make_wiring(db: Session, name: str, spec: dict[str, Any], actor: Actor) -> str:
    """Store a wiring under a key that is made from its name, and return the key.

    Raises:
        Invalid: the name is missing, too long or taken, or the description contradicts itself.
    """
    name = checked_name(db, name)
    parse_wiring(spec, name)
    key = _free_key(db, name)
    db.add(OwnWiring(key=key, name=name, spec=spec, made_by=actor.who.id, created_at=actor.now))
    note_in_audit(db, actor.now, actor.who.id, "wiring.made", key, {"name": name})
    return key


def end_wiring(db: Session, key: str, actor: Actor) -> None:
    """Stop offering a wiring for new items. Items that have it keep it.

    Raises:
        NotFound, Conflict: there is no such wiring of the program's own, or it has ended.
    """
    own = own_wiring(db, key)
    if own is None:
        raise NotFound("There is no such wiring of your own. The list has them all.")
    locked(db, OwnWiring, own.id)
    if own.ended_at is not None:
        raise Conflict("This wiring was ended before. Nothing was changed.")
    own.ended_at = actor.now
    note_in_audit(db, actor.now, actor.who.id, "wiring.ended", key)


def checked_name(db: Session, name: str) -> str:
    """The name of a new wiring, with single spaces.

    Raises:
        Invalid: for `name`, with the reason.
    """
    name = " ".join(name.split())
    if not 0 < len(name) <= LONGEST_NAME or not can_be_shown(name):
        raise invalid("name", f"A wiring needs a name of 1 to {LONGEST_NAME} characters, like “Drum snake, 4 lines”.")
    if queries.name_is_taken(db, name) or any(alike(name, each) for each in WIRING_NAMES.values()):
        raise invalid("name", f"There is a wiring called “{name}” already. Give this one another name.")
    return name


def _free_key(db: Session, name: str) -> str:
    ascii_name = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    stem = "own-" + (re.sub("[^a-z0-9]+", "-", ascii_name).strip("-")[:_LONGEST_KEY].strip("-") or "wiring")
    key, number = stem, 2
    while queries.key_is_taken(db, key):
        key, number = f"{stem}-{number}", number + 1
    return key
