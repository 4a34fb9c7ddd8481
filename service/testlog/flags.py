"""Flags that follow from the due state and from history: raised and cleared here, never deleted."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import BindParameter, Uuid, bindparam, select
from sqlalchemy.orm import Session

from service.crew.core import Who
from service.gear.actions import clear_flags, raise_flag
from service.gear.core import FlagKind
from service.gear.models import Flag
from service.kit.typed import is_id
from service.season.core import DueState
from service.season.models import ItemDue
from service.testlog import queries
from service.testlog.core import LogEntry, has_passed, still_crackles
from service.testlog.suspicion import through_suspects
from service.wiring.naming import listed

CLOSING = timedelta(days=14)
"""A round that closes within two weeks is said to be closing."""

DUE_FLAGS = (FlagKind.DUE, FlagKind.CLOSING, FlagKind.OVERDUE, FlagKind.BLOCKED, FlagKind.UNTESTED)


_WHY_CLEARED = "No longer so."
_WHY_PASSED = "It passed."
_WHY_TRUSTED = "The tests that stand clear it."

Asked = tuple[UUID, str]
"""An item, and the occasion that a flag on it speaks of."""


# A test that is logged asks these, so they are built once.
_ITEMS: BindParameter[Any] = bindparam("items", expanding=True, type_=Uuid())
_DUE, _RAISED = select(ItemDue), select(Flag).where(Flag.flag.in_(DUE_FLAGS), Flag.cleared_at.is_(None))
_DUE_OF, _RAISED_OF = _DUE.where(ItemDue.item_id.in_(_ITEMS)), _RAISED.where(Flag.item_id.in_(_ITEMS))


def wanted(state: DueState, due_by: date | None, today: date) -> dict[FlagKind, str]:
    """The flags that a due state raises, each with the occasion it speaks of: the round's close, where there is one."""
    if state is DueState.CURRENT:
        return {}
    occasion = due_by.isoformat() if due_by else state.value
    raised = {FlagKind(state.value): occasion}
    if state is DueState.DUE and due_by is not None and due_by - today <= CLOSING:
        raised[FlagKind.CLOSING] = occasion
    return raised


def follow_due(
    db: Session,
    item_ids: Collection[UUID] | None,
    today: date,
    now: datetime,
    cached: Sequence[ItemDue] | None = None,
) -> int:
    """Raise and clear the flags that due states ask for, of these items or of all; how many changed.

    `cached` are the due states of these items, where they are at hand.
    """
    lower, lift = _amiss(db, item_ids, today, cached)
    touched = {row.item_id for row in lower} | {item_id for item_id, _ in lift}
    if not touched:
        return 0
    queries.hold(db, touched)
    lower, lift = _amiss(db, touched, today, None)  # again, now that nobody else changes them
    clear_flags(db, lower, _WHY_CLEARED, None, now)
    with db.no_autoflush:  # each is another flag, so none has to be seen by the next
        for (item_id, kind), occasion in lift.items():
            raise_again(db, item_id, kind, occasion, "", None, now)
    return len(lower) + len(lift)


def _amiss(
    db: Session, item_ids: Collection[UUID] | None, today: date, cached: Sequence[ItemDue] | None
) -> tuple[list[Flag], dict[tuple[UUID, FlagKind], str]]:
    """The flags to clear, and those to raise with their occasions."""
    asked = {} if item_ids is None else {"items": list(item_ids)}
    raised = db.scalars(_RAISED if item_ids is None else _RAISED_OF, asked).all()
    lift = {
        (row.item_id, kind): occasion
        for row in (db.scalars(_DUE if item_ids is None else _DUE_OF, asked) if cached is None else cached)
        for kind, occasion in wanted(DueState(row.state), row.due_by, today).items()
    }
    lower = []
    for row in raised:
        of = (row.item_id, FlagKind(row.flag))
        if lift.get(of) == occasion_of(row.period):
            del lift[of]
        else:
            lower.append(row)
    return lower, lift


def follow_history(
    db: Session, histories: Mapping[UUID, Sequence[LogEntry]], by: Mapping[UUID, Who | None], now: datetime
) -> None:
    """Raise and clear the suspect flags that histories ask for, and clear what was at risk once it passes.

    The histories are of all items that were tested together; `by` says who changed that of each.
    """
    flags: dict[Asked, list[Flag]] = defaultdict(list)
    for row in queries.tested_flags(db, histories):
        if row.flag == FlagKind.SUSPECT:
            flags[row.item_id, occasion_of(row.period)].append(row)
        elif row.cleared_at is None and has_passed(row.raised_at, histories[row.item_id]):
            clear_flags(db, [row], _WHY_PASSED, by[row.item_id], now)
    through = _failed_through(db, histories)
    for asked, suspect in (_told(db, flags, histories) | {key: bool(lanes) for key, lanes in through.items()}).items():
        item_id, occasion = asked
        up = next((row for row in flags[asked] if row.cleared_at is None), None)
        if suspect and up is None:
            note = flags[asked][0].note if flags[asked] else _through_note(through[asked])
            raise_again(db, item_id, FlagKind.SUSPECT, occasion, note, by[item_id], now)
        elif up is not None and not suspect:
            clear_flags(db, [up], _WHY_TRUSTED, by[item_id], now)


def _told(
    db: Session, flags: Mapping[Asked, Sequence[Flag]], histories: Mapping[UUID, Sequence[LogEntry]]
) -> dict[Asked, bool]:
    """Whether what people called suspect still is. What a test raised is not for them to end, unless it was voided."""
    entries = [UUID(occasion) for _, occasion in flags if is_id(occasion)]
    tests = queries.stands(db, entries) if entries else {}
    asked = {}
    for (item_id, occasion), rows in flags.items():
        stands = tests.get(UUID(occasion)) if is_id(occasion) else None
        if stands is not True:
            since = rows[0].raised_at
            asked[item_id, occasion] = stands is None and still_crackles(since, histories[item_id])
    return asked


def _failed_through(db: Session, histories: Mapping[UUID, Sequence[LogEntry]]) -> dict[Asked, frozenset[str]]:
    """The lanes on which each failed test through several leaves its items suspect; none where not or no longer."""
    asked: dict[Asked, frozenset[str]] = {}
    if len(histories) == 1:  # all that failed together is held together
        return asked
    for test_id, (at, items) in queries.failed_through(db, histories).items():
        if histories.keys() >= set(items):
            left = through_suspects(test_id, at, items, histories)
            asked |= {(item, str(test_id)): left.get(item, frozenset()) for item in items}
    return asked


def _through_note(lanes: Collection[str]) -> str:
    named = sorted((lane for lane in lanes if lane), key=lambda lane: (len(lane), lane))
    on = f" on {'lane' if len(named) == 1 else 'lanes'} {listed(named)}" if named else ""
    return f"A test through several items failed{on}, and one of them is bad."


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
