"""The effects of a change of history: the states of items, their due states, and their flags.

`apply_effects` does all of it, in this order. A stored due state is a cache of the due rule applied to the item's
history. Flags are raised and cleared by due states and by tests (suspect, at risk). A flag whose reason no longer
holds, or whose test or report was undone, is cleared, and may be raised again.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import BindParameter, Uuid, bindparam, delete, select
from sqlalchemy.orm import Session

from service.crew.core import Who
from service.gear import actions as gear
from service.gear import queries as gear_queries
from service.gear.actions import clear_flags, raise_flag
from service.gear.core import ASKED, USABLE, FlagKind, ItemState, home_state
from service.gear.models import COUNT_REVISION, FLAG_IS_OPEN, Flag, Item
from service.kit.dates import local_date
from service.kit.text import is_id
from service.season import queries as seasons
from service.season.core import DueState, Season, What, due_of_lanes, next_change
from service.season.models import ItemDue
from service.store.sessions import WriteConflict, chunks, locks_everything
from service.testlog import queries
from service.testlog.core import (
    FaultStatus,
    LogEntry,
    by_lane,
    days_by_lane,
    fault_of,
    has_passed,
    state_after,
    still_crackles,
)
from service.testlog.queries import events, last_swaps, lock_items, suspected
from service.testlog.suspects import through_suspects
from service.wiring.naming import listed

Histories = dict[UUID, list[LogEntry]]

Suspected = Collection[tuple[UUID, str]]
"""The failed tests through several items that leave an item suspect, each with the lane."""

FlagOccasion = tuple[UUID, str]
"""An item, and the occasion of a flag on it: a round, a test or a report."""

CLOSING = timedelta(days=14)
"""A round that closes within this time raises the flag `closing`."""

DUE_FLAGS = (FlagKind.DUE, FlagKind.CLOSING, FlagKind.OVERDUE, FlagKind.BLOCKED, FlagKind.UNTESTED)

_WHY_CLEARED = "No longer so."
_WHY_PASSED = "It passed."
_WHY_TRUSTED = "The tests that stand clear it."

# Logging a test executes these, so they are built once.
_ITEMS: BindParameter[Any] = bindparam("items", expanding=True, type_=Uuid())
_DUE, _RAISED = select(ItemDue), select(Flag).where(Flag.flag.in_(DUE_FLAGS), FLAG_IS_OPEN)
_DUE_OF, _RAISED_OF = _DUE.where(ItemDue.item_id.in_(_ITEMS)), _RAISED.where(Flag.item_id.in_(_ITEMS))


@dataclass(frozen=True)
class Cause:
    """Who changed the history of an item, and the reason to log with its change of state."""

    who: Who | None
    reason: str


def lock_with_histories(db: Session, item_ids: Sequence[UUID]) -> tuple[list[Item], Histories]:
    """The items in the order given, locked with all items that were tested with them; and the histories of all.

    Raises:
        WriteConflict: as `lock_together` does.
    """
    together = {item.id: item for item in lock_together(db, item_ids)}
    return [together[item_id] for item_id in item_ids], events(db, together)


def lock_together(db: Session, item_ids: Sequence[UUID]) -> Collection[Item]:
    """Lock these items with all that they were tested together with.

    Raises:
        WriteConflict: a test logged meanwhile links items that sort before those locked; retry the transaction.
    """
    together = {item.id: item for item in queries.lock_tested_with(db, item_ids)}
    while not locks_everything(db):
        more = queries.tested_with(db, item_ids) - together.keys()
        if not more:
            break
        if min(more) < max(together):  # locking out of order could deadlock
            raise WriteConflict
        together |= {item.id: item for item in lock_items(db, more)}
    return together.values()


def apply_effects(
    db: Session,
    items: Sequence[Item],
    before: Histories,
    after: Histories,
    causes: Mapping[UUID, Cause],
    now: datetime,
    zone: ZoneInfo,
) -> None:
    """Update states, due states and flags after the history has changed from `before` to `after`."""
    db.flush()
    ids = [item.id for item in items]
    swapped = last_swaps(db, ids)
    for item in items:
        state = next_state(db, item, before[item.id], after[item.id], swapped.get(item.id))
        if state != item.state:
            gear.change_state(db, item, state, causes[item.id].who, now, causes[item.id].reason)
    refresh_tested_flags(db, after, {item_id: cause.who for item_id, cause in causes.items()}, now)
    db.flush()
    today = local_date(now, zone)
    # Items that failed together are suspect together, so the due states of all of them may have changed.
    together = items if len(after) == len(items) else lock_items(db, after)
    suspects = {} if len(after) == 1 else suspected(db, after)
    rows = write_due_states(db, together, after, suspects, today, zone)
    refresh_due_flags(db, list(after), today, now, rows)


def next_state(
    db: Session, item: Item, before: Sequence[LogEntry], after: Sequence[LogEntry], swapped_at: datetime | None
) -> ItemState:
    """The state of an item after its history has changed from `before` to `after`."""
    state, then, now_so = ItemState(item.state), fault_of(before, swapped_at), fault_of(after, swapped_at)
    if state is ItemState.IN_REPAIR and then is FaultStatus.NONE and now_so is FaultStatus.OPEN:
        # Somebody put it into repair, and this may be the older fail for which they did.
        known = {event.entry for event in before}
        put_there = gear_queries.states(db, item.id)[-1].at
        if all(event.at <= put_there for event in after if event.entry not in known):
            return state
    ended = then is not FaultStatus.NONE and now_so is FaultStatus.NONE  # only then it goes back into use
    return state_after(state, _home(db, item) if ended else state, then, now_so)


def _home(db: Session, item: Item) -> ItemState:
    """The state that an item goes back to: its own if it is usable."""
    state = ItemState(item.state)
    if state in USABLE:
        return state
    return home_state([ItemState(step.to_state) for step in gear_queries.states(db, item.id)])


def refresh_due(db: Session, item_ids: Iterable[UUID], now: datetime, zone: ZoneInfo) -> None:
    """Recompute the due states of these items and their flags."""
    ids, today = list(item_ids), local_date(now, zone)
    db.flush()
    refresh_due_states(db, ids, today, zone)
    refresh_due_flags(db, ids, today, now)


def fault_status_of(db: Session, item_id: UUID) -> FaultStatus:
    """The status of an item's fault now; `SWAPPED` if a spare took its place and it was not tested since."""
    return fault_of(events(db, [item_id])[item_id], last_swaps(db, [item_id]).get(item_id))


def refresh_due_states(db: Session, item_ids: Iterable[UUID], today: date, zone: ZoneInfo) -> None:
    """Recompute the cached due states of these items. Those of retired and lost ones are deleted.

    The items are locked, so that a test logged at the same time is not missed.
    """
    for ids in chunks(sorted(item_ids)):
        write_due_states(db, lock_items(db, ids), events(db, ids), suspected(db, ids), today, zone)


def write_due_states(
    db: Session,
    items: Sequence[Item],
    histories: Mapping[UUID, Sequence[LogEntry]],
    suspects: Mapping[UUID, Suspected],
    today: date,
    zone: ZoneInfo,
) -> list[ItemDue]:
    """Recompute the due states of locked items from these histories and suspicions.

    Returns:
        the cached rows.
    """
    ids = [item.id for item in items]
    answers_to = seasons.seasons_of(db, ids)
    columns = columns_of(items, answers_to, histories, suspects, today, zone)
    return set_due(db, items, columns, seasons.due_rows(db, ids))


def columns_of(
    items: Sequence[Item],
    answers_to: Mapping[UUID, Sequence[Season]],
    histories: Mapping[UUID, Sequence[LogEntry]],
    suspects: Mapping[UUID, Suspected],
    today: date,
    zone: ZoneInfo,
) -> dict[UUID, dict[str, Any]]:
    return {
        item.id: due_columns(
            answers_to[item.id],
            item.in_service_on,
            histories[item.id],
            suspects.get(item.id, frozenset()),
            today,
            zone,
        )
        for item in items
        if item.state in ASKED
    }


def set_due(
    db: Session,
    items: Sequence[Item],
    columns: Mapping[UUID, Mapping[str, Any]],
    cached: Mapping[UUID, ItemDue],
) -> list[ItemDue]:
    """Cache these columns for the items; the cached rows of items without columns are deleted."""
    db.connection().execute(COUNT_REVISION, {"items": [item.id for item in items]})
    rows = []
    for item in items:
        if item.id in columns:
            row = cached.get(item.id)
            if row is None:
                row = ItemDue(item_id=item.id)
                db.add(row)
            for column, value in columns[item.id].items():
                setattr(row, column, value)
            rows.append(row)
        elif item.id in cached:  # it no longer has a due state
            db.execute(delete(ItemDue).where(ItemDue.item_id == item.id))
    db.flush()
    return rows


def due_columns(
    seasons: Sequence[Season],
    in_service_on: date,
    history: Sequence[LogEntry],
    suspected: Suspected,
    today: date,
    zone: ZoneInfo,
) -> dict[str, Any]:
    """The columns of an item's cached due state, from its history. Pure."""
    lanes = days_by_lane(history, suspected, zone)
    due = due_of_lanes(seasons, in_service_on, lanes, today)
    changes = (next_change(seasons, in_service_on, days, today) for days in lanes)
    tests = [event for event in history if event.what is not What.REPAIR]
    passed = [[at for at, what in lane if what is What.PASS] for lane in by_lane(history)]
    return {
        "state": due.state,
        "due_by": due.due_by,
        "round": due.round,
        "changes_on": min((day for day in changes if day is not None), default=None),
        "last_tested_at": tests[-1].at if tests else None,
        "last_verdict": tests[-1].what if tests else None,
        "last_passed_at": min(lane[-1] for lane in passed) if all(passed) else None,
    }


def due_flags(state: DueState, due_by: date | None, today: date) -> dict[FlagKind, str]:
    """The flags that a due state raises, each with its occasion: the round's close, if there is one."""
    if state is DueState.CURRENT:
        return {}
    occasion = due_by.isoformat() if due_by else state.value
    raised = {FlagKind(state.value): occasion}
    if state is DueState.DUE and due_by is not None and due_by - today <= CLOSING:
        raised[FlagKind.CLOSING] = occasion
    return raised


def refresh_due_flags(
    db: Session,
    item_ids: Collection[UUID] | None,
    today: date,
    now: datetime,
    cached: Sequence[ItemDue] | None = None,
) -> int:
    """Raise and clear flags by the due states of these items or of all; return how many changed.

    `cached` are the due states of these items, if they were already read; the items are locked then.
    """
    to_clear, to_raise = _due_flag_changes(db, item_ids, today, cached)
    touched = {row.item_id for row in to_clear} | {item_id for item_id, _ in to_raise}
    if not touched:
        return 0
    if cached is None:
        lock_items(db, touched)
        to_clear, to_raise = _due_flag_changes(db, touched, today, None)  # again, now that the items are locked
    clear_flags(db, to_clear, _WHY_CLEARED, None, now)
    with db.no_autoflush:  # each is a different flag, so none has to be visible to the next
        for (item_id, kind), occasion in to_raise.items():
            raise_again(db, item_id, kind, occasion, "", None, now)
    return len(to_clear) + len(to_raise)


def due_flags_to_change(db: Session, today: date) -> set[UUID]:
    """The items on which `refresh_due_flags` would raise or clear a flag; nothing is written."""
    to_clear, to_raise = _due_flag_changes(db, None, today, None)
    return {row.item_id for row in to_clear} | {item_id for item_id, _ in to_raise}


def _due_flag_changes(
    db: Session, item_ids: Collection[UUID] | None, today: date, cached: Sequence[ItemDue] | None
) -> tuple[list[Flag], dict[tuple[UUID, FlagKind], str]]:
    """The flags to clear, and those to raise with their occasions."""
    which = {} if item_ids is None else {"items": list(item_ids)}
    raised = db.scalars(_RAISED if item_ids is None else _RAISED_OF, which).all()
    to_raise = {
        (row.item_id, kind): occasion
        for row in (db.scalars(_DUE if item_ids is None else _DUE_OF, which) if cached is None else cached)
        for kind, occasion in due_flags(DueState(row.state), row.due_by, today).items()
    }
    to_clear = []
    for row in raised:
        of = (row.item_id, FlagKind(row.flag))
        if to_raise.get(of) == occasion_of(row.period):
            del to_raise[of]
        else:
            to_clear.append(row)
    return to_clear, to_raise


def refresh_tested_flags(
    db: Session, histories: Mapping[UUID, Sequence[LogEntry]], by: Mapping[UUID, Who | None], now: datetime
) -> None:
    """Raise and clear suspect flags by histories, and clear at-risk flags of items that passed.

    `histories` has all items that were tested together; `by` is who changed the history of each.
    """
    flags: dict[FlagOccasion, list[Flag]] = defaultdict(list)
    for row in queries.tested_flags(db, histories):
        if row.flag == FlagKind.SUSPECT:
            flags[row.item_id, occasion_of(row.period)].append(row)
        elif row.cleared_at is None and has_passed(row.raised_at, histories[row.item_id]):
            clear_flags(db, [row], _WHY_PASSED, by[row.item_id], now)
    through = _failed_through(db, histories)
    called = _still_called_suspect(db, flags, histories)
    for of, suspect in (called | {key: bool(lanes) for key, lanes in through.items()}).items():
        item_id, occasion = of
        up = next((row for row in flags[of] if row.cleared_at is None), None)
        if suspect and up is None:
            note = flags[of][0].note if flags[of] else _through_note(through[of])
            raise_again(db, item_id, FlagKind.SUSPECT, occasion, note, by[item_id], now)
        elif up is not None and not suspect:
            clear_flags(db, [up], _WHY_TRUSTED, by[item_id], now)


def _still_called_suspect(
    db: Session, flags: Mapping[FlagOccasion, Sequence[Flag]], histories: Mapping[UUID, Sequence[LogEntry]]
) -> dict[FlagOccasion, bool]:
    """Whether each suspect flag still holds that a person or a test that was voided raised; without those of tests that
    stand.
    """
    entries = [UUID(occasion) for _, occasion in flags if is_id(occasion)]
    tests = queries.stands(db, entries) if entries else {}
    suspect = {}
    for (item_id, occasion), rows in flags.items():
        stands = tests.get(UUID(occasion)) if is_id(occasion) else None
        if stands is not True:
            since = rows[0].raised_at
            suspect[item_id, occasion] = stands is None and still_crackles(since, histories[item_id])
    return suspect


def _failed_through(db: Session, histories: Mapping[UUID, Sequence[LogEntry]]) -> dict[FlagOccasion, frozenset[str]]:
    """The lanes on which each failed test through several leaves its items suspect; none if it does not (any more)."""
    lanes: dict[FlagOccasion, frozenset[str]] = {}
    if len(histories) == 1:  # all items that failed together are locked together, so this one never did
        return lanes
    for test_id, (at, items) in queries.failed_through(db, histories).items():
        if histories.keys() >= set(items):
            left = through_suspects(test_id, at, items, histories)
            lanes |= {(item, str(test_id)): left.get(item, frozenset()) for item in items}
    return lanes


def _through_note(lanes: Collection[str]) -> str:
    named = sorted((lane for lane in lanes if lane), key=lambda lane: (len(lane), lane))
    on = f" on {'lane' if len(named) == 1 else 'lanes'} {listed(named)}" if named else ""
    return f"A test through several items failed{on}, and one of them is bad."


def raise_again(
    db: Session, item_id: UUID, kind: FlagKind, occasion: str, note: str, who: Who | None, now: datetime
) -> None:
    """Raise a flag; if it was raised for this occasion and undone before (by a void), as its second, third, … time."""
    time = 1
    while not raise_flag(db, item_id, kind, occasion if time == 1 else f"{occasion}#{time}", note, who, now):
        time += 1


def occasion_of(period: str) -> str:
    """The occasion in a flag's period, without the number of times that it was raised."""
    return period.partition("#")[0]
