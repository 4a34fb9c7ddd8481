"""Look-ups of the calendar's entries, and of the links to it."""

from collections.abc import Iterator, Sequence
from datetime import timedelta
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.gear.models import Place
from service.schedule.calendar.core import CalendarEntry
from service.schedule.calendar.models import CalendarLink
from service.season.models import Event, RoundRow, SeasonRow
from service.testlog.models import SessionKind, WorkSession

_KINDS = {SessionKind.TEST: "Test session", SessionKind.COUNT: "Count of gear"}


def entries(db: Session, base: str) -> list[CalendarEntry]:
    """Rounds, events and sessions by day. `base` is the base URL of links, without a slash at the end.

    It has no names of people: calendars are shared with people outside the program.
    """
    calendar = [*_rounds(db, base), *_events(db, base), *_sessions(db, base)]
    return sorted(calendar, key=lambda entry: (entry.on, entry.uid))


def _rounds(db: Session, base: str) -> Iterator[CalendarEntry]:
    query = select(SeasonRow, RoundRow).join(RoundRow, RoundRow.season_id == SeasonRow.id)
    for season, each in db.execute(query):
        last = each.closes - timedelta(days=1)
        for moment, on, what in (("opens", each.opens, "opens"), ("closes", last, "ends today")):
            # By season and number, since the rows of rounds are replaced when a season changes.
            yield CalendarEntry(
                f"round-{season.id}-{each.number}-{moment}@coilbook",
                on,
                f"{season.name}: round {each.number + 1} {what}",
                season.revision,
                season.changed_at or season.created_at,
                "Round",
                url=f"{base}/season/{season.id}",
            )


def _events(db: Session, base: str) -> Iterator[CalendarEntry]:
    for event in db.scalars(select(Event)):
        yield CalendarEntry(
            f"event-{event.id}@coilbook",
            event.on,
            event.name,
            event.revision,
            event.changed_at or event.created_at,
            event.kind.capitalize(),
            url=f"{base}/pull/{event.id}",
        )


def _sessions(db: Session, base: str) -> Iterator[CalendarEntry]:
    query = select(WorkSession, Place.name).outerjoin(Place, Place.id == WorkSession.place_id)
    for session, place in db.execute(query):
        kind = _KINDS[SessionKind(session.kind)]
        held = ", held" if session.closed_at else ""
        changes = (session.created_at, session.changed_at, session.closed_at)
        yield CalendarEntry(
            f"session-{session.id}@coilbook",
            session.on,
            f"{session.title} ({kind.lower()}{held})",
            session.revision,
            max(at for at in changes if at),
            kind,
            place or "",
            f"{base}/sessions/{session.id}",
        )


def links(db: Session) -> Sequence[CalendarLink]:
    """The valid links, the newest first."""
    query = select(CalendarLink).where(CalendarLink.ended_at.is_(None))
    return db.scalars(query.order_by(CalendarLink.created_at.desc(), CalendarLink.id)).all()


def link(db: Session, link_id: UUID) -> CalendarLink | None:
    """One link."""
    return db.get(CalendarLink, link_id)
