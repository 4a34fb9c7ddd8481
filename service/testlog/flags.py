"""Flags that follow from the due state and from history: raised and cleared here, never deleted."""

from collections.abc import Collection
from datetime import date, datetime, timedelta
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.crew.core import Who
from service.gear.actions import clear_flags, raise_flag
from service.gear.core import FlagKind
from service.gear.models import Flag
from service.season.core import DueState
from service.season.models import ItemDue

CLOSING = timedelta(days=14)
"""A round that closes within two weeks is said to be closing."""

DUE_FLAGS = (FlagKind.DUE, FlagKind.CLOSING, FlagKind.OVERDUE, FlagKind.BLOCKED, FlagKind.UNTESTED)

_WHY_CLEARED = "No longer so."


def wanted(state: DueState, due_by: date | None, today: date) -> dict[FlagKind, str]:
    """The flags that a due state raises, each with the occasion it speaks of: the round's close, where there is one."""
    if state is DueState.CURRENT:
        return {}
    occasion = due_by.isoformat() if due_by else state.value
    raised = {FlagKind(state.value): occasion}
    if state is DueState.DUE and due_by is not None and due_by - today <= CLOSING:
        raised[FlagKind.CLOSING] = occasion
    return raised


def follow_due(db: Session, item_ids: Collection[UUID] | None, today: date, now: datetime) -> int:
    """Raise and clear the flags that due states ask for, of these items or of all; how many changed."""
    due, flag = select(ItemDue), select(Flag).where(Flag.flag.in_(DUE_FLAGS), Flag.cleared_at.is_(None))
    if item_ids is not None:
        due, flag = due.where(ItemDue.item_id.in_(item_ids)), flag.where(Flag.item_id.in_(item_ids))
    asked = {
        (row.item_id, kind): occasion
        for row in db.scalars(due)
        for kind, occasion in wanted(DueState(row.state), row.due_by, today).items()
    }
    up = {(row.item_id, FlagKind(row.flag)): row for row in db.scalars(flag)}
    changed = 0
    for (item_id, kind), row in up.items():
        if occasion_of(row.period) != asked.get((item_id, kind)):
            changed += clear_flags(db, item_id, kind, _WHY_CLEARED, None, now, row.period)
        else:
            del asked[item_id, kind]
    for (item_id, kind), occasion in asked.items():
        raise_again(db, item_id, kind, occasion, "", None, now)
    return changed + len(asked)


def raise_again(
    db: Session, item_id: UUID, kind: FlagKind, occasion: str, note: str, who: Who | None, now: datetime
) -> None:
    """Raise a flag; where that was done for this occasion and undone since (a void), as its second, third, … time."""
    time = 1
    while not raise_flag(db, item_id, kind, occasion if time == 1 else f"{occasion}#{time}", note, who, now):
        time += 1


def occasion_of(period: str) -> str:
    """What a flag's period speaks of, without how many times it was raised for it."""
    return period.partition("#")[0]
