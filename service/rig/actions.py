"""Making a rig, changing its plan, undoing that, deleting it; and the input list from it."""

from typing import Any
from uuid import UUID, uuid5

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.gear.queries import place_named
from service.kit.problems import Problem, invalid
from service.lines.inputs import actions as inputs
from service.lines.inputs.core import NewChannel
from service.rig import queries
from service.rig.models import RigPlan, RigRow
from service.rig.plans import NEW, Plan, channels_of, check
from service.rig.ways import Rig
from service.season.models import Event, SeasonRow
from service.store.sessions import locked


def make_rig(db: Session, rig_id: UUID, name: str, plan: Plan, actor: Actor) -> RigRow:
    """Make a rig with this plan.

    Raises:
        Invalid: the plan cannot be read.
    """
    _check(plan)
    rig = RigRow(id=rig_id, name=name, version=0, made_by=actor.who.id, created_at=actor.now, ended_at=None)
    db.add(rig)
    db.flush()
    _add_version(db, rig, uuid5(rig_id, "first"), plan, actor)
    return rig


def plan_to_copy(db: Session, copy_of: UUID | None) -> Plan:
    """The plan that a new rig begins with: that of another one, or an empty one.

    Raises:
        NotFound: there is no such rig.
    """
    return queries.get_version(db, queries.get_rig(db, copy_of)).plan if copy_of else NEW


def change_plan(db: Session, rig_id: UUID, op: UUID, plan: Plan, actor: Actor) -> None:
    """Replace a rig's plan; the one before can be had back.

    Raises:
        NotFound: there is no such rig.
        Invalid: the plan cannot be read.
    """
    _check(plan)
    queries.get_rig(db, rig_id)
    _add_version(db, locked(db, RigRow, rig_id), op, plan, actor)


def undo(db: Session, rig_id: UUID) -> bool:
    """Go back to the plan before; return whether there was one.

    Raises:
        NotFound: there is no such rig.
    """
    queries.get_rig(db, rig_id)
    rig = locked(db, RigRow, rig_id)
    before = queries.get_version(db, rig).follows
    rig.version = before or rig.version
    return before is not None


def end_rig(db: Session, rig_id: UUID, actor: Actor) -> None:
    """Delete a rig from the lists; its plans stay in the export.

    Raises:
        NotFound: there is no such rig.
    """
    queries.get_rig(db, rig_id).ended_at = actor.now


def make_input_list(db: Session, list_id: UUID, plan: Plan, rig: Rig, of: SeasonRow | Event, actor: Actor) -> int:
    """Make the input list of a season or an event from a rig; return how many channels it has. Their lines are laid
    afterwards, by scanning what hangs on the frames.

    Raises:
        Conflict: there is one already.
        Invalid: there are more channels than a list takes.
    """
    inputs.make_list(db, list_id, of, actor)
    channels = channels_of(plan, rig)
    for number, (source, station) in enumerate(channels, 1):
        place = place_named(db, station)
        entry = NewChannel(number, source, place=place.name if place else "")
        inputs.add_channel(db, uuid5(list_id, str(number)), list_id, entry, actor)
    return len(channels)


def _check(plan: Plan) -> None:
    try:
        check(plan)
    except Problem as problem:
        raise invalid("plan", problem.detail) from problem


def _add_version(db: Session, rig: RigRow, version_id: UUID, plan: Plan, actor: Actor) -> None:
    content: dict[str, Any] = dict(plan)
    number, follows = queries.last_number(db, rig.id) + 1, rig.version or None
    db.add(
        RigPlan(
            id=version_id,
            rig_id=rig.id,
            number=number,
            follows=follows,
            plan=content,
            made_by=actor.who.id,
            created_at=actor.now,
        )
    )
    rig.version = number
