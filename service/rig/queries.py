"""Every query about rigs."""

from collections.abc import Sequence
from datetime import date
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from service.kit.problems import NotFound
from service.lines.inputs.models import InputList
from service.rig.models import RigPlan, RigRow
from service.season.models import Event, SeasonRow


def rigs(db: Session) -> Sequence[RigRow]:
    """The rigs that there are, by name."""
    return db.scalars(select(RigRow).where(RigRow.ended_at.is_(None)).order_by(RigRow.name, RigRow.id)).all()


def get_rig(db: Session, rig_id: UUID | None) -> RigRow:
    """The rig with this id.

    Raises:
        NotFound: there is none, or it was deleted.
    """
    rig = db.get(RigRow, rig_id) if rig_id else None
    if rig is None or rig.ended_at is not None:
        raise NotFound("There is no such rig. Look at the list of rigs.")
    return rig


def get_version(db: Session, rig: RigRow, number: int | None = None) -> RigPlan:
    """The version of a rig's plan with this number, by default the one that counts."""
    query = select(RigPlan).where(RigPlan.rig_id == rig.id, RigPlan.number == (number or rig.version))
    return db.scalars(query).one()


def without_input_list(db: Session, today: date) -> list[SeasonRow | Event]:
    """The seasons that are not over and the coming events that have no input list of their own yet."""
    seasons = select(SeasonRow).where(SeasonRow.ends >= today).order_by(SeasonRow.starts)
    events = select(Event).where(Event.on >= today).order_by(Event.on, Event.id)
    has_none = select(InputList.season_id).where(InputList.season_id.is_not(None))
    event_has_none = select(InputList.event_id).where(InputList.event_id.is_not(None))
    return [
        *db.scalars(seasons.where(SeasonRow.id.not_in(has_none))),
        *db.scalars(events.where(Event.id.not_in(event_has_none))),
    ]


def last_number(db: Session, rig_id: UUID) -> int:
    """The highest number of a rig's versions."""
    return db.scalar(select(func.max(RigPlan.number)).where(RigPlan.rig_id == rig_id)) or 0
