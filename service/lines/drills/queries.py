"""Every query about set-up drills."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from service.kit.problems import NotFound
from service.lines.checks.core.kinds import CheckKind
from service.lines.checks.models import LineCheck
from service.lines.drills.core import DoneEntry, DrillPlug, DrillTimes, ObservedSetup, drill_times, observed
from service.lines.drills.models import DrillPlugRow, StationDoneRow
from service.lines.inputs.models import InputList
from service.season.models import Event, SeasonRow


@dataclass(frozen=True)
class TimedDrill:
    """A drill with what it measured."""

    check: LineCheck
    times: DrillTimes


def get_drill(db: Session, drill_id: UUID | None) -> LineCheck:
    """The set-up drill with this id.

    Raises:
        NotFound: there is none.
    """
    check = db.get(LineCheck, drill_id) if drill_id else None
    if check is None or check.kind != CheckKind.DRILL:
        raise NotFound("There is no such set-up drill. Look at the list of drills.")
    return check


def times_of(db: Session, drill: LineCheck) -> DrillTimes:
    """What a drill measured until now."""
    (timed,) = _timed(db, [drill])
    return timed.times


def drills(db: Session, season_id: UUID | None = None) -> list[TimedDrill]:
    """The drills of a season, or of all seasons, in order of time."""
    query = select(LineCheck).where(LineCheck.kind == CheckKind.DRILL).order_by(LineCheck.started_at, LineCheck.id)
    if season_id is not None:
        lists = select(InputList.id).outerjoin(Event, Event.id == InputList.event_id)
        of_season = lists.where(func.coalesce(InputList.season_id, Event.season_id) == season_id)
        query = query.where(LineCheck.input_list_id.in_(of_season))
    return _timed(db, db.scalars(query).all())


def observed_setup(db: Session, season_id: UUID | None = None) -> ObservedSetup:
    """The seconds that the drills of a season, or of all seasons, observed: over all, and by the name of a station."""
    return observed([drill.times for drill in drills(db, season_id)])


def seasons_with_drills(db: Session) -> Sequence[SeasonRow]:
    """The seasons in which there was a drill, the newest first."""
    lists = (
        select(func.coalesce(InputList.season_id, Event.season_id))
        .outerjoin(Event, Event.id == InputList.event_id)
        .join(LineCheck, LineCheck.input_list_id == InputList.id)
        .where(LineCheck.kind == CheckKind.DRILL)
    )
    return db.scalars(select(SeasonRow).where(SeasonRow.id.in_(lists)).order_by(SeasonRow.starts.desc())).all()


def add_plugs(db: Session, drill_id: UUID, plugs: Sequence[DrillPlug]) -> None:
    """Add what there is to plug in a drill, in order of the cards."""
    db.add_all(
        DrillPlugRow(
            id=plug.id,
            check_id=drill_id,
            position=position,
            station=plug.station,
            hold=plug.hold,
            socket=plug.socket,
            channels=plug.channels,
        )
        for position, plug in enumerate(plugs, 1)
    )


def stations_of(db: Session, drill_id: UUID) -> dict[str, set[UUID]]:
    """The stations of a drill with the ids of their plugs."""
    stations: dict[str, set[UUID]] = {}
    for plug in _plugs(db, [drill_id])[drill_id]:
        stations.setdefault(plug.station, set()).add(plug.id)
    return stations


def add_done(
    db: Session,
    entry: DoneEntry,
    drill_id: UUID,
    person_id: UUID,
    received_at: datetime,
) -> None:
    """Add what somebody tapped."""
    db.add(
        StationDoneRow(
            id=entry.id,
            check_id=drill_id,
            station=entry.station,
            plug_id=entry.plug,
            done=entry.done,
            at=entry.at,
            received_at=received_at,
            person_id=person_id,
        )
    )


def _timed(db: Session, checks: Sequence[LineCheck]) -> list[TimedDrill]:
    ids = [check.id for check in checks]
    plugs, entries = _plugs(db, ids), _entries(db, ids)
    return [TimedDrill(each, drill_times(each.started_at, plugs[each.id], entries[each.id])) for each in checks]


def _plugs(db: Session, drill_ids: Collection[UUID]) -> defaultdict[UUID, list[DrillPlug]]:
    query = select(DrillPlugRow).where(DrillPlugRow.check_id.in_(drill_ids))
    plugs: defaultdict[UUID, list[DrillPlug]] = defaultdict(list)
    for row in db.scalars(query.order_by(DrillPlugRow.check_id, DrillPlugRow.position)):
        plugs[row.check_id].append(DrillPlug(row.id, row.station, row.hold, row.socket, row.channels))
    return plugs


def _entries(db: Session, drill_ids: Collection[UUID]) -> defaultdict[UUID, list[DoneEntry]]:
    entries: defaultdict[UUID, list[DoneEntry]] = defaultdict(list)
    for row in db.scalars(select(StationDoneRow).where(StationDoneRow.check_id.in_(drill_ids))):
        entries[row.check_id].append(DoneEntry(row.id, row.station, row.plug_id, row.done, row.at))
    return entries
