"""Entries of the test log besides tests (`logging_tests`): voids, repairs, changes of state, suspects.

Each action loads the history of the items that it touches, adds to it, and applies the effects: states, due states and
flags. History counts in the order in which things happened, so an entry that arrives late has the same effects.
"""

from datetime import datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew import queries as crew
from service.crew.core import Who
from service.gear import actions as gear
from service.gear.core import USABLE, FlagKind, ItemState
from service.gear.models import Item
from service.kit.problems import Conflict, NotFound, invalid
from service.kit.quantities import Unit, format_length
from service.season.core import What
from service.tags.queries import named_id
from service.testlog import queries
from service.testlog.core import FaultStatus, LogEntry, NewRepair, fault_of, in_time_order
from service.testlog.effects import Cause, apply_effects, lock_with_histories, refresh_due
from service.testlog.models import Repair, Void


def void_test(db: Session, test_id: UUID, reason: str, who: Who, now: datetime, zone: ZoneInfo) -> None:
    """Void a test, with a reason. It stays in the log; states, due states and flags become as if it were not there.

    Raises:
        Invalid: there is no reason.
        NotFound: there is no such test.
        Conflict: it was voided before.
    """
    if not reason:
        raise invalid("reason", "Say why this test does not stand; it is kept beside it.")
    if queries.test(db, test_id) is None:
        raise NotFound("There is no such test. Look for it in the log.")
    items, before = lock_with_histories(db, queries.items_of(db, [test_id])[test_id])
    if queries.void_of(db, test_id) is not None:
        raise Conflict("This test was voided before. Nothing was changed.")
    db.add(Void(test_id=test_id, at=now, person_id=who.id, reason=reason))
    crew.note_in_audit(db, now, who.id, "test.voided", str(test_id), {"reason": reason})
    after = before | {item.id: [event for event in before[item.id] if event.entry != test_id] for item in items}
    cause = Cause(who, f"A test was voided: {reason}")
    apply_effects(db, items, before, after, dict.fromkeys(before, cause), now, zone)


def log_repair(db: Session, new: NewRepair, who: Who | None, now: datetime, zone: ZoneInfo) -> Repair:
    """Log a repair; the item now waits for the test that proves it.

    Raises:
        Invalid: with the field and what is wrong with it.
    """
    (item,), before = lock_with_histories(db, [named_id(db, new.item, "item")])
    if not new.what:
        raise invalid("what", "Say what was done, like: new plug, joint soldered again.")
    if new.length_mm is not None:
        _cut(db, item, new.length_mm, new.what, now)
    repair = Repair(
        id=new.id,
        item_id=item.id,
        end=new.end,
        what=new.what,
        length_mm=new.length_mm,
        cost_cents=new.cost_cents,
        at=now,
        received_at=now,
        person_id=who.id if who else None,
    )
    db.add(repair)
    after = before | {item.id: in_time_order([*before[item.id], LogEntry(now, What.REPAIR, new.id)])}
    cause = Cause(who, f"Repaired: {new.what}")
    apply_effects(db, [item], before, after, dict.fromkeys(before, cause), now, zone)
    return repair


def change_state(
    db: Session, item_id: UUID, to: ItemState, reason: str, who: Who | None, now: datetime, zone: ZoneInfo
) -> None:
    """Move an item to another state by hand, with a reason.

    Raises:
        Invalid: there is no reason.
        Conflict: it would go back into use with an open fault, or without the test after a repair.
    """
    if not reason:
        raise invalid("reason", "Say why; next year's lead will want to know.")
    (item,), histories = lock_with_histories(db, [item_id])
    fault = fault_of(histories[item_id])
    if to in USABLE and fault is not FaultStatus.NONE:
        raise Conflict(_WAY_OUT[fault])
    gear.change_state(db, item, to, who, now, reason)
    refresh_due(db, [item_id], now, zone)


def call_suspect(db: Session, item_id: UUID, op: UUID, note: str, who: Who | None, now: datetime) -> None:
    """Mark an item as suspect until it passes with a flex test."""
    gear.raise_flag(db, item_id, FlagKind.SUSPECT, str(op), note, who, now)


_WAY_OUT = {
    FaultStatus.OPEN: "It has an open fault. Log its repair, then a test that passes; or void the test that failed.",
    FaultStatus.REPAIRED: "It was repaired and not tested since. Log a test that passes, and it goes back by itself.",
}


def _cut(db: Session, item: Item, length_mm: int, what: str, now: datetime) -> None:
    if not item.length_mm:
        raise invalid("length", "A hub has no length; leave the new length empty.")
    if length_mm > item.length_mm:
        was = format_length(item.length_mm, Unit.FEET)
        raise invalid("length", f"It was {was} long, and a repair makes no cable longer. Check the new length.")
    gear.shorten(db, item, length_mm, now, what)
