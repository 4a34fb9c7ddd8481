"""Actions on seasons: adding and changing them, their rounds and events, and their items."""

from collections.abc import Collection, Sequence
from datetime import date, datetime
from uuid import UUID, uuid4

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from service.kit.problems import invalid
from service.kit.text import alike
from service.season import queries
from service.season.core import Round, Season
from service.season.models import Event, EventKind, ItemSeason, RoundRow, SeasonRow


def add_season(
    db: Session, season_id: UUID, name: str, rule: Season, item_ids: Collection[UUID], now: datetime
) -> SeasonRow:
    """Add a season with its rounds and its items."""
    row = SeasonRow(id=season_id, name=name, starts=rule.starts, ends=rule.ends, created_at=now)
    db.add(row)
    db.flush()
    _add_rounds(db, season_id, rule.rounds)
    enlist(db, item_ids, [season_id])
    return row


def change_season(db: Session, row: SeasonRow, name: str, rule: Season, now: datetime) -> None:
    """Give a season another name, other days or other rounds.

    Raises:
        Invalid: an event of it would lie outside.
    """
    for event in queries.events(db, row.id):
        if not rule.starts <= event.on <= rule.ends:
            field = "starts" if event.on < rule.starts else "ends"
            raise invalid(
                field,
                f"{event.name} is on {event.on}, outside {rule.starts} to {rule.ends}. Move the event first.",
            )
    if (row.name, queries.rules(db, [row.id])[row.id]) == (name, rule):
        return
    row.name, row.starts, row.ends, row.changed_at = name, rule.starts, rule.ends, now
    db.execute(delete(RoundRow).where(RoundRow.season_id == row.id))
    _add_rounds(db, row.id, rule.rounds)


def _add_rounds(db: Session, season_id: UUID, rounds: Sequence[Round]) -> None:
    for number, each in enumerate(rounds):
        db.add(RoundRow(season_id=season_id, number=number, opens=each.opens, closes=each.closes))
    db.flush()


def add_event(db: Session, season_id: UUID, name: str, kind: EventKind, on: date, now: datetime) -> Event:
    """Add an event to a season.

    Raises:
        Invalid: it lies outside its season.
    """
    _check_inside(db, season_id, on)
    event = Event(id=uuid4(), season_id=season_id, name=name, kind=kind, on=on, created_at=now)
    db.add(event)
    db.flush()
    return event


def change_event(db: Session, event: Event, name: str, kind: EventKind, on: date, now: datetime) -> None:
    """Give an event another name, kind or day.

    Raises:
        Invalid: it would lie outside its season.
    """
    _check_inside(db, event.season_id, on)
    if (event.name, event.kind, event.on) != (name, kind, on):
        event.name, event.kind, event.on, event.changed_at = name, kind, on, now


def refuse_double(db: Session, season_id: UUID, name: str, on: date, event: Event | None = None) -> None:
    """Ask before a season gets the same event twice; `event` is the one that is changed.

    Raises:
        Invalid: there is one of this name, in whatever letters, on this day.
    """
    if event is not None and event.on == on and alike(event.name, name):
        return
    for other in queries.events(db, season_id):
        if other is not event and other.on == on and alike(other.name, name):
            raise invalid("name", f"{other.name} is on {on} already. If there are two, send it again to keep both.")


def _check_inside(db: Session, season_id: UUID, on: date) -> None:
    season = db.get_one(SeasonRow, season_id)
    if not season.starts <= on <= season.ends:
        raise invalid(
            "on",
            f"{on} is outside {season.name}, which runs from {season.starts} to {season.ends}. "
            "Change the day, or the season.",
        )


def enlist(db: Session, item_ids: Collection[UUID], season_ids: Collection[UUID]) -> None:
    """Add items to seasons, except those that are in them already."""
    for season_id in season_ids:
        known = set(db.scalars(select(ItemSeason.item_id).where(ItemSeason.season_id == season_id)))
        db.add_all(ItemSeason(item_id=item_id, season_id=season_id) for item_id in item_ids if item_id not in known)
    db.flush()


def delist(db: Session, item_ids: Collection[UUID], season_id: UUID) -> None:
    """Take items out of a season. Their history stays."""
    db.execute(delete(ItemSeason).where(ItemSeason.season_id == season_id, ItemSeason.item_id.in_(item_ids)))


def running_seasons(db: Session, today: date) -> list[UUID]:
    """The seasons that are not over, to which new items are added."""
    return [row.id for row in queries.seasons(db) if row.ends >= today]
