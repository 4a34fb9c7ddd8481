"""What happens in the test log: a test, its void, a repair, a change of state, a suspicion.

Each loads the history of the items that it touches, adds to it, and lets everything that follows from history follow:
the items' states, their due states and their flags. History counts in the order in which things happened, so what
arrives late changes what it should have changed.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew import queries as crew
from service.crew.core import Who
from service.gear import actions as gear
from service.gear.core import USABLE, FlagKind, ItemState
from service.gear.models import Item
from service.gear.wirings import find_wiring
from service.kit.lengths import Unit, format_length
from service.kit.problems import Conflict, NotFound, invalid
from service.season.core import What
from service.store.receipts import Entangled
from service.store.sessions import locked
from service.tags.queries import codes_of, fetch, named_id
from service.testlog import queries
from service.testlog.core import FaultStatus, LogEntry, NewRepair, NewTest, SubmittedTest, fault_of, in_time_order
from service.testlog.effects import Cause, follow, hold, keep_up
from service.testlog.models import FaultRow, Repair, SessionHelper, Test, Void, WorkSession
from service.testlog.plugging import plugged
from service.testlog.wording import as_json, titles
from service.testlog.writing import Written, add, same_test, when, written


def log_test(db: Session, new: NewTest, who: Who | None, now: datetime, zone: ZoneInfo) -> dict[str, Any]:
    """Log a test and let everything follow from it.

    Returns:
        `id`, `item` (its code now), `verdict`, `faults`, `received_at` and the item's `state`.

    Raises:
        Invalid: with the field and what is wrong with it.
    """
    (answer,) = log_tests(db, [SubmittedTest(new, who, now)], zone)
    return answer


def log_tests(db: Session, said: Sequence[SubmittedTest], zone: ZoneInfo) -> list[dict[str, Any]]:
    """The same of several tests at once that have nothing to do with one another.

    Raises:
        Invalid: with the field and what is wrong with it.
        Entangled: several, and two are of one item, or one is of what failed together with an item of none of them.
    """
    # Held on to until the end, so that each is found below without being asked for again.
    _tags = fetch(db, (code for one in said for code in (one.test.item, *one.test.through)))
    through = [_items(db, one.test) for one in said]
    items, before = hold(db, [item_id for each in through for item_id in each])
    if len(said) > 1 and sorted(before) != sorted(item.id for item in items):
        raise Entangled("These tests touch one another's items, so each has to be logged by itself.")
    held = {item.id: item for item in items}
    for each in through:
        plugged(db, [held[item_id] for item_id in each])
    made = [
        written(
            db,
            one.test,
            [held[item_id] for item_id in each],
            one.by,
            one.at,
            when(db, one.test, each, one.by, one.at, [before[item_id] for item_id in each]),
        )
        for one, each in zip(said, through, strict=True)
    ]
    now = max(one.at for one in said)
    helpers = dict.fromkeys((one.test.session, one.by) for one in said)
    for session, who in sorted(helpers, key=lambda pair: str(pair[0])):  # so that two never wait crosswise
        _help(db, session, who, now)
    add(db, made)
    after, causes = dict(before), dict[UUID, Cause]()
    for new, each, one in zip(made, through, said, strict=True):
        after |= {item_id: in_time_order([*before[item_id], new.events[item_id]]) for item_id in each}
        causes |= dict.fromkeys(each if len(said) > 1 else before, Cause(one.by, _reason(db, new)))
    follow(db, items, before, after, causes, now, zone)
    codes = codes_of(db, held)
    return [
        _answer(one.test, one.faults, codes[first], held[first]) for one, (first, *_) in zip(made, through, strict=True)
    ]


def logged_as(db: Session, new: NewTest) -> dict[str, Any] | None:
    """The answer to a test that is in the log under its id, whoever brought it in; None where that is another one."""
    test = queries.test(db, new.id)
    through = queries.items_of(db, [new.id])[new.id]
    lane = queries.lane_of(db, [new.id]).get(new.id)
    if test is None or (through, lane) != (_items(db, new), new.lane):
        return None
    if not same_test(test, find_wiring(db, test.wiring), new):
        return None
    first = through[0]
    return _answer(
        test, queries.faults_of(db, [test.id])[test.id], codes_of(db, [first])[first], db.get_one(Item, first)
    )


def _answer(test: Test, faults: Sequence[FaultRow], code: str, item: Item) -> dict[str, Any]:
    return {
        "id": str(test.id),
        "item": code,
        "verdict": test.verdict,
        "faults": [as_json(row) for row in faults],
        "received_at": test.received_at.isoformat(),
        "state": item.state,
    }


def _reason(db: Session, made: Written) -> str:
    told = "; ".join(titles(db, made.test.wiring, made.faults))
    return f"Failed: {told}." if told else "Passed its test."


def void_test(db: Session, test_id: UUID, reason: str, who: Who, now: datetime, zone: ZoneInfo) -> None:
    """Say that a test does not stand, and why; everything is as if it had never been logged, but it stays in the log.

    Raises:
        Invalid: there is no reason.
        NotFound, Conflict: there is no such test, or it was voided before.
    """
    if not reason:
        raise invalid("reason", "Say why this test does not stand; it is kept beside it.")
    if queries.test(db, test_id) is None:
        raise NotFound("There is no such test. Look for it in the log.")
    items, before = hold(db, queries.items_of(db, [test_id])[test_id])
    if queries.void_of(db, test_id) is not None:
        raise Conflict("This test was voided before. Nothing was changed.")
    db.add(Void(test_id=test_id, at=now, person_id=who.id, reason=reason))
    crew.note_in_audit(db, now, who.id, "test.voided", str(test_id), {"reason": reason})
    after = before | {item.id: [event for event in before[item.id] if event.entry != test_id] for item in items}
    cause = Cause(who, f"A test was voided: {reason}")
    follow(db, items, before, after, dict.fromkeys(before, cause), now, zone)


def log_repair(db: Session, new: NewRepair, who: Who | None, now: datetime, zone: ZoneInfo) -> Repair:
    """Write down a repair; the item now waits for the test that proves it.

    Raises:
        Invalid: with the field and what is wrong with it.
    """
    (item,), before = hold(db, [named_id(db, new.item, "item")])
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
    follow(db, [item], before, after, dict.fromkeys(before, cause), now, zone)
    return repair


def change_state(
    db: Session, item_id: UUID, to: ItemState, reason: str, who: Who | None, now: datetime, zone: ZoneInfo
) -> None:
    """Move an item to another state by hand, and write down why.

    Raises:
        Invalid: there is no reason.
        Conflict: it has an open fault, or waits for the test after a repair, and would be plugged in again.
    """
    if not reason:
        raise invalid("reason", "Say why; next year's lead will want to know.")
    (item,), histories = hold(db, [item_id])
    fault = fault_of(histories[item_id])
    if to in USABLE and fault is not FaultStatus.NONE:
        raise Conflict(_WAY_OUT[fault])
    gear.change_state(db, item, to, who, now, reason)
    keep_up(db, [item_id], now, zone)


def call_suspect(db: Session, item_id: UUID, op: UUID, note: str, who: Who | None, now: datetime) -> None:
    """Somebody heard it crackle: the item is suspect until it passes with a flex test."""
    gear.raise_flag(db, item_id, FlagKind.SUSPECT, str(op), note, who, now)


_WAY_OUT = {
    FaultStatus.OPEN: "It has an open fault. Log its repair, then a test that passes; or void the test that failed.",
    FaultStatus.REPAIRED: "It was repaired and not tested since. Log a test that passes, and it goes back by itself.",
}


def _items(db: Session, new: NewTest) -> list[UUID]:
    """The items that a test goes through, in order."""
    found = [named_id(db, new.item, "item")]
    for code in new.through:
        item_id = named_id(db, code, "through")
        if item_id in found:
            raise invalid("through", f"{code} is named twice; name each item that the test went through once.")
        found.append(item_id)
    return found


def _help(db: Session, session_id: UUID | None, who: Who | None, now: datetime) -> None:
    """Note that somebody helps in a session."""
    if session_id is None:
        return
    if db.get(WorkSession, session_id) is None:
        raise invalid("session", f"There is no session {session_id}. Leave it out, or take its id from its page.")
    if who is not None and db.get(SessionHelper, (session_id, who.id)) is None:
        locked(db, WorkSession, session_id)  # a phone may send several at once: only the first notes it
        if db.get(SessionHelper, (session_id, who.id), populate_existing=True) is None:
            db.add(SessionHelper(session_id=session_id, person_id=who.id, joined_at=now))


def _cut(db: Session, item: Item, length_mm: int, what: str, now: datetime) -> None:
    if not item.length_mm:
        raise invalid("length", "A hub has no length; leave the new length empty.")
    if length_mm > item.length_mm:
        was = format_length(item.length_mm, Unit.FEET)
        raise invalid("length", f"It was {was} long, and a repair makes no cable longer. Check the new length.")
    gear.shorten(db, item, length_mm, now, what)
