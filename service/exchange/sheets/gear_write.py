"""Writing the gear of a sheet: the plan of what an import writes, and writing it."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import partial
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.core import Who
from service.crew.queries import note_in_audit
from service.exchange.sheets.core.row_status import PlannedRow
from service.exchange.sheets.gear_changes import ItemChange
from service.gear import actions as gear
from service.gear.core import ItemState
from service.kit.dates import local_date
from service.season import actions as season
from service.store.drafts import FollowUp
from service.store.sessions import chunks
from service.tags import actions as tags
from service.testlog.bulk_logging import TOGETHER
from service.testlog.effects import refresh_due
from service.testlog.queries import lock_items

REASON = "brought in from a sheet"


@dataclass(frozen=True)
class NewPiece:
    """A new item: its id, its values, its code if the sheet has one, its state, its notes, and since when it is in
    service, which is today if the sheet does not say.
    """

    id: UUID
    new: gear.NewItem
    code: str
    state: ItemState
    notes: tuple[str, ...]
    in_service_on: date | None = None


@dataclass
class GearPlan:
    """The plan of an import of gear: the status of each row, and what it would write."""

    rows: list[PlannedRow] = field(default_factory=list)
    pieces: list[NewPiece] = field(default_factory=list)
    changes: list[ItemChange] = field(default_factory=list)


def write(
    db: Session, plan: GearPlan, who: Who | None, now: datetime, zone: ZoneInfo
) -> tuple[list[str], list[FollowUp]]:
    """Write a plan in the session's transaction; returns the number of codes to print and the follow-ups."""
    codes = _add(db, plan.pieces, who, now, zone)
    _alter(db, plan.changes, who, now)
    counts = {"new": len(plan.pieces), "changed": len(plan.changes)}
    note_in_audit(db, now, who.id if who else None, "gear.imported", f"{len(plan.rows)} rows", counts)
    items = [*(piece.id for piece in plan.pieces), *(change.id for change in plan.changes)]
    return codes, [FollowUp(ids, partial(_follow, ids, now, zone)) for ids in chunks(items, TOGETHER)]


def _follow(item_ids: list[UUID], now: datetime, zone: ZoneInfo, db: Session) -> None:
    refresh_due(db, item_ids, now, zone)


def _add(db: Session, pieces: Sequence[NewPiece], who: Who | None, now: datetime, zone: ZoneInfo) -> list[str]:
    today = local_date(now, zone)
    made = gear.add_each(db, [(piece.id, piece.new) for piece in pieces], who, now, today)
    given = {piece.id: piece.code for piece in pieces if piece.code}
    tags.put_on(db, given, now)
    codes = tags.issue(db, [piece.id for piece in pieces if not piece.code], now)
    for item, piece in zip(made, pieces, strict=True):
        if piece.in_service_on is not None:
            gear.change_item(db, item, {"in_service_on": piece.in_service_on})
        gear.change_state(db, item, piece.state, who, now, REASON)
        for note in piece.notes:
            gear.add_note(db, item.id, note, who, now)
    ids = [item.id for item in made if item.state not in (ItemState.RETIRED, ItemState.LOST)]
    season.enlist(db, ids, season.running_seasons(db, today))
    return [*given.values(), *codes]


def _alter(db: Session, changes: Sequence[ItemChange], who: Who | None, now: datetime) -> None:
    items = {item.id: item for item in lock_items(db, [change.id for change in changes])}
    for change in changes:
        item = items[change.id]
        gear.change_item(db, item, change.columns)
        if change.length_mm is not None:
            gear.shorten(db, item, change.length_mm, now, REASON)
        if change.place is not None:
            gear.place(db, item.id, *change.place, who, now)
        if change.state is not None:
            gear.change_state(db, item, change.state, who, now, REASON)
        for note in change.notes:
            gear.add_note(db, item.id, note, who, now)
