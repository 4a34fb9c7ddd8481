"""The due cache: what the rule says of each item's history, kept beside it and recomputed at any time."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from service.gear.core import ASKED
from service.gear.models import Item
from service.kit.dates import local_date
from service.season import actions as season
from service.season import queries as seasons
from service.season.core import Due, DueState, HistoryEntry, Season, What, due_in_seasons, next_change, worst
from service.season.models import ItemDue
from service.store.sessions import chunks
from service.testlog.core import LogEntry, by_lane, lanes_of_item
from service.testlog.queries import events, hold, suspected

Suspected = Collection[tuple[UUID, str]]
"""The failed tests through several that leave an item suspect, each with the lane on which."""


def refresh(db: Session, item_ids: Iterable[UUID], today: date, zone: ZoneInfo) -> None:
    """Recompute what is cached of these items; retired and lost ones are forgotten, since they are not asked.

    In a write session: the items are held, so that a test that comes in meanwhile is not overlooked.
    """
    for ids in chunks(sorted(item_ids)):
        reckon(db, hold(db, ids), events(db, ids), suspected(db, ids), today, zone)


def reckon(
    db: Session,
    items: Sequence[Item],
    histories: Mapping[UUID, Sequence[LogEntry]],
    suspects: Mapping[UUID, Suspected],
    today: date,
    zone: ZoneInfo,
) -> list[ItemDue]:
    """The same for items that are held already, with their histories and what is suspected of them at hand.

    Returns:
        what is cached now.
    """
    ids = [item.id for item in items]
    answers_to = seasons.seasons_of(db, ids)
    cached = seasons.due_rows(db, ids)
    kept = []
    for item in items:
        if item.state in ASKED:
            suspect = suspects.get(item.id, frozenset())
            known = reckoned(answers_to[item.id], item.in_service_on, histories[item.id], suspect, today, zone)
            kept.append(season.keep_due(db, item.id, known, cached.get(item.id)))
        elif item.id in cached:
            season.drop_due(db, item.id)
    db.flush()
    return kept


def entries(history: Sequence[LogEntry], suspected: Suspected, zone: ZoneInfo) -> list[list[HistoryEntry]]:
    """A history as the due rule wants it, lane by lane: by local days, in the order it happened."""
    return [[HistoryEntry(local_date(at, zone), what) for at, what in lane] for lane in by_lane(history, suspected)]


def due_on(seasons: Sequence[Season], in_service_on: date, lanes: Sequence[Sequence[HistoryEntry]], on: date) -> Due:
    """What is due of an item on a day: every lane of it has to pass in each round, so its worst lane counts."""
    return worst(due_in_seasons(seasons, in_service_on, days, on) for days in lanes)


@dataclass(frozen=True)
class LaneStands:
    """How a lane of an item stands: `proven` in its round, or it has an open fault or may have one (`suspect`)."""

    name: str
    proven: bool
    suspect: bool


def lanes_now(
    db: Session, item_id: UUID, in_service_on: date, names: Sequence[str], today: date, zone: ZoneInfo
) -> list[LaneStands]:
    """How each lane of an item with these lanes stands today."""
    history, suspects = events(db, [item_id])[item_id], suspected(db, [item_id]).get(item_id, frozenset())
    answers_to = seasons.seasons_of(db, [item_id])[item_id]
    of_lane = dict(zip(lanes_of_item(history), entries(history, suspects, zone), strict=True))
    states = {name: due_in_seasons(answers_to, in_service_on, of_lane.get(name, []), today).state for name in names}
    return [LaneStands(name, state is DueState.CURRENT, state is DueState.BLOCKED) for name, state in states.items()]


def asked(db: Session) -> Sequence[UUID]:
    """Every item that has a due state."""
    return db.scalars(select(Item.id).where(Item.state.in_(ASKED))).all()


def stale(db: Session, today: date) -> Sequence[UUID]:
    """Items whose cached state ends by `today`, or that have none."""
    out_of_date = or_(ItemDue.item_id.is_(None), ItemDue.changes_on <= today)
    query = select(Item.id).outerjoin(ItemDue, ItemDue.item_id == Item.id).where(Item.state.in_(ASKED), out_of_date)
    return db.scalars(query).all()


def reckoned(
    seasons: Sequence[Season],
    in_service_on: date,
    history: Sequence[LogEntry],
    suspected: Suspected,
    today: date,
    zone: ZoneInfo,
) -> dict[str, Any]:
    """What is cached of an item's due state, by column, as its history has it. Pure."""
    lanes = entries(history, suspected, zone)
    due = due_on(seasons, in_service_on, lanes, today)
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


def differences(db: Session, today: date, zone: ZoneInfo) -> list[tuple[UUID, str, str]]:
    """Items whose cache is not what their history says: (item, cached, recomputed). Leaves the cache recomputed."""
    before = _snapshot(db)
    asked = db.scalars(select(Item.id)).all()
    refresh(db, asked, today, zone)
    after = _snapshot(db)
    return [
        (item_id, before.get(item_id, "nothing"), after.get(item_id, "nothing"))
        for item_id in sorted(before.keys() | after.keys())
        if before.get(item_id) != after.get(item_id)
    ]


def _snapshot(db: Session) -> dict[UUID, str]:
    return {row.item_id: _shown(row) for row in db.scalars(select(ItemDue))}


def _shown(row: ItemDue) -> str:
    told: tuple[tuple[str, object], ...] = (
        ("due by", row.due_by),
        ("round", row.round),
        ("changes on", row.changes_on),
        ("last tested", _utc(row.last_tested_at)),
        ("verdict", row.last_verdict),
        ("passed", _utc(row.last_passed_at)),
    )
    return ", ".join([row.state, *(f"{name} {value}" for name, value in told if value is not None)])


def _utc(at: datetime | None) -> str | None:
    return at.isoformat() if at else None
