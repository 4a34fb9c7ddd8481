"""What follows from history: the states of items, their due states and their flags."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.core import Who
from service.gear import actions as gear
from service.gear import queries as gear_queries
from service.gear.core import USABLE, ItemState, home_state
from service.gear.models import Item
from service.kit.dates import local_date
from service.testlog import due, flags, queries
from service.testlog.core import FaultStatus, LogEntry, fault_of, state_after
from service.testlog.queries import last_swaps

Histories = dict[UUID, list[LogEntry]]


@dataclass(frozen=True)
class Cause:
    """Who changed the history of an item, and why its state follows."""

    who: Who | None
    reason: str


def hold(db: Session, item_ids: Sequence[UUID]) -> tuple[list[Item], Histories]:
    """The items in the order given, held with all that they were tested together with; and the histories of all."""
    together = set(item_ids)
    while True:  # again where others belong to it: more may have come in while we waited
        held = {item.id: item for item in queries.hold(db, together)}
        found = queries.tested_with(db, item_ids)
        if found <= together:
            return [held[item_id] for item_id in item_ids], queries.events(db, together)
        together = found


def follow(
    db: Session,
    items: Sequence[Item],
    before: Histories,
    after: Histories,
    causes: Mapping[UUID, Cause],
    now: datetime,
    zone: ZoneInfo,
) -> None:
    """Let states, due states and flags follow from history, which was as `before` and is as `after`, by its causes."""
    db.flush()
    ids = [item.id for item in items]
    swapped = last_swaps(db, ids)
    for item in items:
        state = next_state(db, item, before[item.id], after[item.id], swapped.get(item.id))
        gear.change_state(db, item, state, causes[item.id].who, now, causes[item.id].reason)
    flags.follow_history(db, after, {item_id: cause.who for item_id, cause in causes.items()}, now)
    db.flush()
    today = local_date(now, zone)
    # What failed together is suspect together, so the due states of all of it may be others now.
    together = items if len(after) == len(items) else queries.hold(db, after)
    suspected = {} if len(after) == 1 else queries.suspected(db, after)
    kept = due.reckon(db, together, after, suspected, today, zone)
    flags.follow_due(db, list(after), today, now, kept)


def next_state(
    db: Session, item: Item, before: Sequence[LogEntry], after: Sequence[LogEntry], swapped_at: datetime | None
) -> ItemState:
    """The state of an item, now that its history, which was as `before`, is as `after`."""
    state, then, now_so = ItemState(item.state), fault_of(before, swapped_at), fault_of(after, swapped_at)
    if state is ItemState.IN_REPAIR and then is FaultStatus.NONE and now_so is FaultStatus.OPEN:
        # It is in repair by somebody's word, and what comes in may be the older fail for which it got there.
        known = {event.entry for event in before}
        put_there = gear_queries.states(db, item.id)[-1].at
        if all(event.at <= put_there for event in after if event.entry not in known):
            return state
    return state_after(state, _home(db, item), then, now_so)


def _home(db: Session, item: Item) -> ItemState:
    """Where an item goes back to: what is usable is there already."""
    state = ItemState(item.state)
    if state in USABLE:
        return state
    return home_state([ItemState(step.to_state) for step in gear_queries.states(db, item.id)])


def keep_up(db: Session, item_ids: Iterable[UUID], now: datetime, zone: ZoneInfo) -> None:
    """Bring due states and their flags up to what history says now."""
    ids, today = list(item_ids), local_date(now, zone)
    db.flush()
    due.refresh(db, ids, today, zone)
    flags.follow_due(db, ids, today, now)


def stands(db: Session, item_id: UUID) -> FaultStatus:
    """How the fault of an item stands now, and whether a spare took its place and it was not tested since."""
    return fault_of(queries.events(db, [item_id])[item_id], last_swaps(db, [item_id]).get(item_id))
