"""It crackled: one item, or all that hangs at a place, is suspect until a test with both ends flexed."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.gear.actions import place_with
from service.gear.queries import is_suspect
from service.kit.problems import invalid
from service.suspects import queries
from service.tags.queries import code_of, named_id
from service.testlog.actions import call_suspect
from service.testlog.core import corrected
from service.testlog.effects import lock_with_histories, refresh_tested_flags


@dataclass(frozen=True)
class Suspicion:
    """Somebody heard an item crackle; `id` is the client's own, `item` a code, `at` and `sent_at` its own times."""

    id: UUID
    item: str
    note: str = ""
    at: datetime | None = None
    sent_at: datetime | None = None


def report(db: Session, new: Suspicion, actor: Actor) -> dict[str, Any]:
    """Call an item suspect since it crackled; what arrives late is cleared at once by a flex test done since.

    Returns:
        `id`, the code of the `item` now, whether it is `suspect` now, and `received_at`.

    Raises:
        Invalid: with the field and what is wrong with it.
    """
    at = corrected(new.at, new.sent_at, actor.now, "at", "entry")
    (item,), histories = lock_with_histories(db, [named_id(db, new.item, "item")])
    call_suspect(db, item.id, new.id, new.note, actor.who, at)
    refresh_tested_flags(db, histories, dict.fromkeys(histories, actor.who), actor.now)
    return {
        "id": str(new.id),
        "item": code_of(db, item.id),
        "suspect": is_suspect(db, item.id),
        "received_at": actor.now.isoformat(),
    }


def report_place(db: Session, place_id: UUID, item_ids: Collection[UUID], op: UUID, actor: Actor) -> int:
    """Mark the ticked items at a place as suspect, and return how many.

    Raises:
        NotFound: there is no such place.
        Invalid: nothing that hangs there was ticked.
    """
    place = place_with(db, place_id)
    ticked = [item.id for item, _ in queries.in_use_at(db, place_id) if item.id in item_ids]
    if not ticked:
        raise invalid("item", "Tick what may have crackled.")
    for item_id in ticked:
        call_suspect(db, item_id, op, f"Something crackled at {place.name}", actor.who, actor.now)
    return len(ticked)
