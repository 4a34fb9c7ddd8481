"""Marking one's own test as wrong: it proves nothing from then on, until a lead voids it or decides that it stands."""

from collections.abc import Callable
from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew import queries as crew
from service.crew.core import Who
from service.gear.models import Item
from service.gear.queries import item_facts
from service.kit.problems import Conflict, NotFound, invalid
from service.store.receipts import block
from service.tags.queries import codes_of
from service.testlog import queries
from service.testlog.effects import Cause, Histories, apply_effects, lock_with_histories
from service.testlog.marks.queries import marks_of
from service.testlog.models import MarkStands, WrongMark

BARRED = "test.taken_back"


def mark(db: Session, op: UUID, test_id: UUID, note: str, who: Who, now: datetime, zone: ZoneInfo) -> dict[str, Any]:
    """Mark one's own test as wrong. A test that has not arrived yet is barred: it is refused if it comes later.

    Returns:
        `id`, the `test`, whether it is `marked` (else it never arrived, and is barred), how its items stand now
        (`stands`, by code), and `received_at`.

    Raises:
        Conflict: somebody else logged it, or a lead decided that it stands.
    """
    marked = queries.test(db, test_id) is not None
    if not marked:
        block(db, test_id, BARRED, now)
        # If the test was just being logged, the bar waited for that transaction: now it is there.
        marked = queries.test(db, test_id) is not None
    if marked:
        _mark(db, test_id, note, who, now, zone)
    items = queries.items_of(db, [test_id])[test_id]
    facts = item_facts(db, items)
    stands = {code: facts[item_id].stands for item_id, code in codes_of(db, items).items()}
    return {
        "id": str(op),
        "test": str(test_id),
        "marked": marked,
        "stands": stands,
        "received_at": now.isoformat(),
    }


def _mark(db: Session, test_id: UUID, note: str, who: Who, now: datetime, zone: ZoneInfo) -> None:
    def add() -> None:
        db.add(WrongMark(test_id=test_id, at=now, person_id=who.id, note=note))

    test = queries.test(db, test_id)
    if test is None or test.person_id != who.id:
        raise Conflict("Somebody else logged this test. Tell your lead, who can void it.")
    items = queries.items_of(db, [test_id])[test_id]
    locked = lock_with_histories(db, items)
    known = marks_of(db, [test_id]).get(test_id)
    if known and known.stands:
        raise Conflict("Your lead has said that this test stands. Tell them, or log it again.")
    if known or queries.void_of(db, test_id) is not None:
        return
    crew.note_in_audit(db, now, who.id, "test.marked_wrong", str(test_id), {"note": note})
    _change(db, locked, add, Cause(who, "Its tester marked a test as wrong."), now, zone)


def let_stand(db: Session, test_id: UUID, reason: str, who: Who, now: datetime, zone: ZoneInfo) -> None:
    """Decide, as a lead, that a test that was marked as wrong stands, and why.

    Raises:
        Invalid: there is no reason.
        NotFound: there is no such test.
        Conflict: there is nothing to decide about it.
    """

    def add() -> None:
        db.add(MarkStands(test_id=test_id, at=now, person_id=who.id, reason=reason))

    if not reason:
        raise invalid("stands", "Say why this test stands; it is kept beside the mark.")
    if queries.test(db, test_id) is None:
        raise NotFound("There is no such test. Look for it in the log.")
    locked = lock_with_histories(db, queries.items_of(db, [test_id])[test_id])
    known = marks_of(db, [test_id]).get(test_id)
    if known is None or not known.open:
        raise Conflict("There is nothing to decide about this test any more. Nothing was changed.")
    crew.note_in_audit(db, now, who.id, "test.mark_stands", str(test_id), {"reason": reason})
    _change(db, locked, add, Cause(who, f"A test that was marked as wrong stands: {reason}"), now, zone)


def _change(
    db: Session,
    locked: tuple[list[Item], Histories],
    add: Callable[[], None],
    cause: Cause,
    now: datetime,
    zone: ZoneInfo,
) -> None:
    items, before = locked
    add()
    db.flush()
    after = queries.events(db, before)
    apply_effects(db, items, before, after, dict.fromkeys(before, cause), now, zone)
