"""What happens with tags: issuing codes, finding what a code is on, retagging."""

import random
from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Session

from service.gear.models import Item
from service.kit.codes import make_code, read_code
from service.kit.problems import Gone, NotFound
from service.tags import queries
from service.tags.models import Tag, TagPrint

_RANDOM = random.SystemRandom()


def issue(db: Session, item_ids: Sequence[UUID], now: datetime, source: random.Random = _RANDOM) -> list[str]:
    """A new code for each item, never used before, waiting to be printed."""
    codes: list[str] = []
    for item_id in item_ids:
        code = make_code(source)
        while queries.tag(db, code) is not None:
            code = make_code(source)
        db.add(Tag(code=code, item_id=item_id, place_id=None, since=now, until=None))
        db.flush()
        db.add(TagPrint(code=code, why="new", asked_at=now, asked_by=None, printed_at=None))
        codes.append(code)
    db.flush()
    return codes


def tag_on(db: Session, typed: str) -> Tag:
    """The tag that a typed or scanned code names, ended or not.

    Raises:
        Invalid: it cannot be a code, with the reason.
        NotFound: it could be, but is on nothing here.
    """
    code = read_code(typed)
    tag = queries.tag(db, code)
    if tag is None:
        raise NotFound(
            f"{code} is not a tag of this program. Check it against the printed code, or ask your lead."
        )
    return tag


def item_with(db: Session, typed: str, *, ended: bool = False) -> Item:
    """The item that a typed or scanned code is on; with `ended`, also by a code that a retag has ended.

    Raises:
        Invalid, NotFound: as `tag_on`.
        Gone: the code was replaced.
    """
    tag = tag_on(db, typed)
    if tag.item_id is None:
        raise NotFound(f"{tag.code} is the tag of a place, not of an item. Scan an item's own tag.")
    if tag.until is not None and not ended:
        raise Gone(
            f"The tag {tag.code} was replaced by a new one. Take the old tag off, and scan the new one."
        )
    return db.get_one(Item, tag.item_id)
