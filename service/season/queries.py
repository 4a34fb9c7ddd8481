"""Every query about seasons."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from datetime import date
from typing import Any
from uuid import UUID

from sqlalchemy import Uuid, bindparam, func, select
from sqlalchemy.orm import Session

from service.kit.problems import NotFound
from service.kit.text import as_id
from service.season.core import DueState, Round, Season
from service.season.models import Event, ItemDue, ItemSeason, RoundRow, SeasonRow
from service.store.changes import unless_changed


def seasons(db: Session) -> Sequence[SeasonRow]:
    """All seasons, the latest first."""
    return db.scalars(select(SeasonRow).order_by(SeasonRow.starts.desc(), SeasonRow.name)).all()


# Logging a test runs these queries, so they are built once.
_RULES = (
    select(SeasonRow.id, SeasonRow.starts, SeasonRow.ends, RoundRow.opens, RoundRow.closes)
    .outerjoin(RoundRow, RoundRow.season_id == SeasonRow.id)
    .order_by(RoundRow.number)
)
_ANSWERS_TO = (
    select(ItemSeason.item_id, SeasonRow.id, SeasonRow.starts, SeasonRow.ends, RoundRow.opens, RoundRow.closes)
    .join(SeasonRow, SeasonRow.id == ItemSeason.season_id)
    .outerjoin(RoundRow, RoundRow.season_id == SeasonRow.id)
    .where(ItemSeason.item_id.in_(bindparam("items", expanding=True, type_=Uuid())))
    .order_by(SeasonRow.id, RoundRow.number)
)
_DUE = select(ItemDue).where(ItemDue.item_id.in_(bindparam("items", expanding=True, type_=Uuid())))

_COUNTS = select(ItemDue.state, func.count()).group_by(ItemDue.state)


def rules(db: Session, season_ids: Collection[UUID] | None = None) -> dict[UUID, Season]:
    """Seasons with their rounds, for the due rule."""
    query = _RULES if season_ids is None else _RULES.where(SeasonRow.id.in_(season_ids))
    return _as_rules(db.connection().execute(query))


def _as_rules(rows: Iterable[Sequence[Any]]) -> dict[UUID, Season]:
    """Seasons from rows of (id, starts, ends, opens, closes), the rounds of each in order; a round may come twice."""
    days: dict[UUID, tuple[date, date]] = {}
    rounds: dict[UUID, dict[tuple[date, date], None]] = defaultdict(dict)
    for season_id, starts, ends, opens, closes in rows:
        days[season_id] = starts, ends
        if opens is not None:
            rounds[season_id][opens, closes] = None
    return {
        season_id: Season(*days[season_id], tuple(Round(*each) for each in rounds[season_id])) for season_id in days
    }


def seasons_of(db: Session, item_ids: Collection[UUID]) -> dict[UUID, list[Season]]:
    """The seasons of each of these items."""
    rows = db.connection().execute(_ANSWERS_TO, {"items": list(item_ids)}).all()
    by_id = _as_rules(row[1:] for row in rows)
    answers_to: dict[UUID, dict[UUID, Season]] = {item_id: {} for item_id in item_ids}
    for item_id, season_id, *_ in rows:
        answers_to[item_id][season_id] = by_id[season_id]
    return {item_id: list(seasons.values()) for item_id, seasons in answers_to.items()}


def current(rows: Sequence[SeasonRow], today: date) -> SeasonRow | None:
    """The present season: the current one that ends first, else the next one, else the last one."""
    running = [row for row in rows if row.starts <= today <= row.ends]
    coming = [row for row in rows if row.starts > today]
    if running:
        return min(running, key=lambda row: row.ends)
    return min(coming, key=lambda row: row.starts) if coming else max(rows, key=lambda row: row.ends, default=None)


def rounds(db: Session, season_id: UUID) -> Sequence[RoundRow]:
    """The rounds of a season in order."""
    return db.scalars(select(RoundRow).where(RoundRow.season_id == season_id).order_by(RoundRow.number)).all()


def enlisted(db: Session, season_id: UUID) -> set[UUID]:
    """The items of a season."""
    return set(db.scalars(select(ItemSeason.item_id).where(ItemSeason.season_id == season_id)))


def events(db: Session, season_id: UUID) -> Sequence[Event]:
    """The events of a season, by day."""
    return db.scalars(select(Event).where(Event.season_id == season_id).order_by(Event.on, Event.created_at)).all()


def event(db: Session, event_id: UUID) -> Event | None:
    """One event."""
    return db.get(Event, event_id)


def next_events(db: Session, today: date, most: int = 5) -> Sequence[Event]:
    """The coming events, today's included, the soonest first."""
    return db.scalars(select(Event).where(Event.on >= today).order_by(Event.on, Event.id).limit(most)).all()


def due_rows(db: Session, item_ids: Collection[UUID]) -> dict[UUID, ItemDue]:
    """The cached due state of these items."""
    rows = db.scalars(_DUE, {"items": list(item_ids)})
    return {row.item_id: row for row in rows}


def due_counts(db: Session) -> dict[DueState, int]:
    """How many of the items that have to be tested are in each due state."""
    return dict(unless_changed(db, "due counts", lambda: _counted(db)))


def _counted(db: Session) -> dict[DueState, int]:
    counted = {DueState(state): count for state, count in db.connection().execute(_COUNTS)}
    return {state: counted.get(state, 0) for state in DueState}


def get_season(db: Session, season_id: str) -> SeasonRow:
    """The season that an address names.

    Raises:
        NotFound: there is none.
    """
    key = as_id(season_id)
    row = db.get(SeasonRow, key) if key else None
    if row is None:
        raise NotFound("There is no such season. Go to Season and choose one from the list.")
    return row


def get_event(db: Session, event_id: str) -> Event:
    """The event that an address names.

    Raises:
        NotFound: there is none, or no longer.
    """
    key = as_id(event_id)
    row = event(db, key) if key else None
    if row is None:
        raise NotFound("There is no such event. Go to Season and choose one from the list.")
    return row
