"""Line checks over the API: what phones send, and how the channels stand."""

from typing import Annotated, Any

from fastapi import Path

from service.crew.context import CrewContext, api_router
from service.gear.core import End
from service.kit.quantities import Unit
from service.kit.text import as_id
from service.lines.checks import queries
from service.lines.checks.actions import CheckState, log_cause, log_heard, state_of
from service.lines.checks.core.package import package_of
from service.lines.checks.forms import CauseIn, CauseOut, HeardIn, HeardOut

router = api_router(tag="line checks")


@router.post("/heard", status_code=201, response_model=HeardOut)
def add_heard(context: CrewContext, body: HeardIn) -> Any:
    """Log what was heard on a channel; the same id again gives the same answer."""
    return context.once(body.id, "line.heard", body.content(), lambda db: log_heard(db, body.entry(), context.actor))


@router.post("/causes", status_code=201, response_model=CauseOut)
def add_cause(context: CrewContext, body: CauseIn) -> Any:
    """Log what silenced a channel; the same id again gives the same answer."""
    return context.once(body.id, "line.cause", body.content(), lambda db: log_cause(db, body.entry(), context.actor))


@router.get("/line-checks/{check_id}/package")
def show_package(
    context: CrewContext, check_id: Annotated[str, Path(json_schema_extra={"format": "uuid"})]
) -> dict[str, Any]:
    """A line check for a phone: how it stands, and all that it is judged by without a signal."""
    with context.reading() as db:
        check = queries.get_check(db, as_id(check_id))
        state = state_of(db, check, Unit(context.program.unit), context.actor)
        return {
            "check": _as_json(state),
            "name": queries.list_names(db)[check.input_list_id],
            "ends": {end.value: context.program.end(end) for end in End},
            **package_of(state.channels, state.experience),
        }


@router.get("/line-checks/{check_id}")
def show_check(
    context: CrewContext, check_id: Annotated[str, Path(json_schema_extra={"format": "uuid"})]
) -> dict[str, Any]:
    """How each channel of a line check stands."""
    with context.reading() as db:
        check = queries.get_check(db, as_id(check_id))
        return _as_json(state_of(db, check, Unit(context.program.unit), context.actor))


def _as_json(state: CheckState) -> dict[str, Any]:
    check, channels = state.check, []
    for channel in state.channels:
        now = state.of(channel)
        channels.append(
            {
                "channel": str(channel.id),
                "number": channel.number,
                "source": channel.source,
                "heard": now.sound,
                "sounds_as": str(now.sounds_as) if now.sounds_as else None,
                "at": now.latest.at.isoformat() if now.latest else None,
                "disputed": now.disputed,
                "again": now.again,
            }
        )
    return {
        "id": str(check.id),
        "input_list": str(check.input_list_id),
        "event": str(check.event_id) if check.event_id else None,
        "started_at": check.started_at.isoformat(),
        "ended_at": check.ended_at.isoformat() if check.ended_at else None,
        "window_s": check.window_s,
        "channels": channels,
    }
