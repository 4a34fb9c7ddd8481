"""What happens with tags: issuing codes, finding what a code is on, what waits to be printed, retagging."""

import random
from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Who
from service.crew.queries import note_in_audit
from service.gear.actions import held_place
from service.gear.models import Item
from service.kit.codes import make_code, read_code
from service.kit.problems import Conflict, Gone, Invalid, NotFound, invalid
from service.store.sessions import locked
from service.tags import queries
from service.tags.models import Tag, TagPrint

_RANDOM = random.SystemRandom()


def issue(db: Session, item_ids: Sequence[UUID], now: datetime, source: random.Random = _RANDOM) -> list[str]:
    """A new code for each item, never used before, waiting to be printed."""
    return _issue(db, now, source, [Tag(item_id=item_id) for item_id in item_ids])


def put_on(db: Session, codes: Mapping[UUID, str], now: datetime) -> None:
    """Let items keep the codes that are on them already, printed elsewhere.

    Raises:
        Conflict: one of the codes is taken; each was on something here once.
    """
    taken = queries.known(db, codes.values())
    if taken:
        raise Conflict(f"The code {min(taken)} was on something here before, and a code is never used twice.")
    db.add_all(Tag(code=code, item_id=item_id, since=now, until=None) for item_id, code in codes.items())
    db.flush()


def tag_places(db: Session, place_ids: Sequence[UUID], now: datetime, source: random.Random = _RANDOM) -> list[str]:
    """A code for each of these places that has none yet, waiting to be printed; the new codes.

    Raises:
        Invalid: none is named.
        NotFound, Gone: there is no such place, or no longer.
    """
    if not place_ids:
        raise invalid("place", "Tick the places that get a tag.")
    for place_id in place_ids:
        held_place(db, place_id)
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


def tag_on(db: Session, typed: str) -> Tag:
    """The tag that a typed or scanned code names, ended or not.

    Raises:
        Invalid: it cannot be a code, with the reason.
        NotFound: it could be, but is on nothing here.
    """
    code = read_code(typed)
    tag = queries.tag(db, code)
    if tag is None:
        raise NotFound(f"{code} is not a tag of this program. Check it against the printed code, or ask your lead.")
    return tag


def fetch(db: Session, typed: Iterable[str]) -> Sequence[Tag]:
    """The tags that codes name, asked for at once; no code and codes on nothing are passed over.

    As long as these are held on to, `tag_on` finds them without asking again.
    """
    codes = []
    for text in typed:
        with suppress(Invalid):
            codes.append(read_code(text))
    return queries.tags(db, codes)


def item_with(db: Session, typed: str, *, ended: bool = False) -> Item:
    """The item that a typed or scanned code is on; with `ended`, also by a code that a retag has ended.

    Raises:
        Invalid, NotFound: as `tag_on`.
        Gone: the code was replaced.
    """
    return db.get_one(Item, item_id_with(db, typed, ended=ended))


def item_id_with(db: Session, typed: str, *, ended: bool = False) -> UUID:
    """The same, where the item itself is not wanted."""
    tag = tag_on(db, typed)
    if tag.item_id is None:
        raise NotFound(f"{tag.code} is the tag of a place, not of an item. Scan an item's own tag.")
    if not ended:
        refuse_ended(tag)
    return tag.item_id


def refuse_ended(tag: Tag) -> None:
    """A tag that has ended leads nowhere.

    Raises:
        Gone: it was replaced, or its place was removed.
    """
    if tag.until is not None and tag.place_id is not None:
        raise Gone(f"The tag {tag.code} was on a place that was removed. Take it off.")
    if tag.until is not None:
        raise Gone(f"The tag {tag.code} was replaced by a new one. Take the old tag off, and scan the new one.")


def retag(db: Session, typed: str, who: Who, now: datetime) -> str:
    """End an item's code for good and give it a new one, which waits to be printed.

    Raises:
        Invalid, NotFound, Gone: as `item_with`; Gone also where somebody else was quicker.
    """
    item = item_with(db, typed)
    old: Tag = locked(db, Tag, read_code(typed))
    refuse_ended(old)
    old.until = now
    db.flush()
    new = issue(db, [item.id], now)[0]
    note_in_audit(db, now, who.id, "tag.replaced", old.code, {"new": new})
    return new


def ask_print(db: Session, typed: str, why: str, who: Who, now: datetime) -> str:
    """Let an item's tag wait to be printed again, once; its code.

    Raises:
        Invalid, NotFound, Gone: as `item_with`.
    """
    item_with(db, typed)
    code = read_code(typed)
    if not queries.is_waiting(db, code):
        db.add(TagPrint(code=code, why=why, asked_at=now, asked_by=who.id, printed_at=None))
        db.flush()
    return code


def mark_printed(db: Session, codes: Collection[str], now: datetime) -> int:
    """End the wait of these codes: they are on paper. How many waited."""
    if not codes:
        raise invalid("code", "Tick the tags that came out of the printer.")
    return queries.end_wait(db, codes, now)
