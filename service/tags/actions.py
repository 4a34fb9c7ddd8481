"""Actions on tags: issuing codes, retagging, and the list of tags to print."""

import random
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.crew.queries import note_in_audit
from service.gear.actions import locked_place
from service.kit.codes import make_code, read_code
from service.kit.problems import Conflict, invalid
from service.store.sessions import locked
from service.tags import queries
from service.tags.models import Tag, TagPrint
from service.tags.queries import item_with, refuse_ended

_RANDOM = random.SystemRandom()


def issue(db: Session, item_ids: Sequence[UUID], now: datetime, source: random.Random = _RANDOM) -> list[str]:
    """Issue a new code, never used before, for each item. The tags wait to be printed."""
    return _issue(db, now, source, [Tag(item_id=item_id) for item_id in item_ids])


def put_on(db: Session, codes: Mapping[UUID, str], now: datetime) -> None:
    """Register codes that were printed elsewhere and are on these items already.

    Raises:
        Conflict: one of the codes is taken; each was on something here once.
    """
    taken = queries.known(db, codes.values())
    if taken:
        raise Conflict(f"The code {min(taken)} was on something here before, and a code is never used twice.")
    db.add_all(Tag(code=code, item_id=item_id, since=now, until=None) for item_id, code in codes.items())
    db.flush()


def tag_places(db: Session, place_ids: Sequence[UUID], now: datetime, source: random.Random = _RANDOM) -> list[str]:
    """Issue a code for each of these places that has none, and return the new codes. The tags wait to be printed.

    Raises:
        Invalid: none is named.
        NotFound, Gone: there is no such place, or no longer.
    """
    if not place_ids:
        raise invalid("place", "Tick the places that get a tag.")
    for place_id in place_ids:
        locked_place(db, place_id)
    tagged = {place.id for place, code in queries.places_with_tags(db) if code}
    new = [Tag(place_id=each) for each in dict.fromkeys(place_ids) if each not in tagged]
    return _issue(db, now, source, new)


def _issue(db: Session, now: datetime, source: random.Random, tags: Sequence[Tag]) -> list[str]:
    """Give each tag a code that was never used before; all wait to be printed."""
    codes = dict[str, None]()
    while len(codes) < len(tags):
        made = [make_code(source) for _ in range(len(tags) - len(codes))]
        used = queries.known(db, made)
        codes |= dict.fromkeys(code for code in made if code not in used)
    for tag, code in zip(tags, codes, strict=True):
        tag.code, tag.since, tag.until = code, now, None
    db.add_all(tags)
    db.flush()
    db.add_all(TagPrint(code=code, why="new", asked_at=now, asked_by=None, printed_at=None) for code in codes)
    db.flush()
    return list(codes)


def retag(db: Session, typed: str, actor: Actor) -> str:
    """End an item's code for good and give it a new one, which waits to be printed.

    Raises:
        Invalid, NotFound, Gone: as `item_with`; Gone also where somebody else replaced it first.
    """
    item = item_with(db, typed)
    old: Tag = locked(db, Tag, read_code(typed))
    refuse_ended(old)
    old.until = actor.now
    db.flush()
    new = issue(db, [item.id], actor.now)[0]
    note_in_audit(db, actor.now, actor.who.id, "tag.replaced", old.code, {"new": new})
    return new


def ask_print(db: Session, typed: str, why: str, actor: Actor) -> str:
    """Put an item's tag on the list to be printed again, and return its code.

    Raises:
        Invalid, NotFound, Gone: as `item_with`.
    """
    item_with(db, typed)
    code = read_code(typed)
    if not queries.is_waiting(db, code):
        db.add(TagPrint(code=code, why=why, asked_at=actor.now, asked_by=actor.who.id, printed_at=None))
        db.flush()
    return code


def mark_printed(db: Session, codes: Collection[str], now: datetime) -> int:
    """Take these codes off the list to be printed, and return how many were on it."""
    if not codes:
        raise invalid("code", "Tick the tags that came out of the printer.")
    return queries.end_wait(db, codes, now)
