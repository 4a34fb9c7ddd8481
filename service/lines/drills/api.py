"""Set-up drills over the API: what phones send, and how the stations stand."""

from typing import Annotated, Any

from fastapi import Path, Query

from service.crew.context import CrewContext, api_router
from service.kit.text import as_id
from service.lines.checks.models import LineCheck
from service.lines.drills import queries
from service.lines.drills.actions import log_done
from service.lines.drills.core import DrillTimes
from service.lines.drills.forms import DoneIn, DoneOut
from service.season.queries import get_season

router = api_router(tag="set-up drills")


@router.post("/stations-done", status_code=201, response_model=DoneOut)
def add_done(context: CrewContext, body: DoneIn) -> Any:
    """Log that a station or a plug is done in a set-up drill; the same id again gives the same answer."""
    return context.once(body.id, "drill.done", body.content(), lambda db: log_done(db, body.entry(), context.actor))


@router.get("/drills")
def list_observed(context: CrewContext, season: Annotated[str, Query(max_length=40)] = "") -> dict[str, Any]:
    """The seconds that the drills of a season, or of all, took in order of time: over all, and station by station."""
    with context.reading() as db:
        seen = queries.observed_setup(db, get_season(db, season).id if season else None)
        return {"seconds": seen.whole, "stations": seen.stations}


@router.get("/drills/{drill_id}")
def show_drill(
    context: CrewContext, drill_id: Annotated[str, Path(json_schema_extra={"format": "uuid"})]
) -> dict[str, Any]:
    """When each plug and station of a drill was done, in seconds from its start; `now` is the service's clock."""
    with context.reading() as db:
        drill = queries.get_drill(db, as_id(drill_id))
        return {"now": context.now.isoformat()} | _as_json(drill, queries.times_of(db, drill))


def _as_json(drill: LineCheck, times: DrillTimes) -> dict[str, Any]:
    return {
        "id": str(drill.id),
        "input_list": str(drill.input_list_id),
        "started_at": drill.started_at.isoformat(),
        "ended_at": drill.ended_at.isoformat() if drill.ended_at else None,
        "window_s": drill.window_s,
        "seconds": times.seconds,
        "stations": [
            {
                "station": station.name,
                "done_s": station.done_s,
                "plugs": [
                    {
                        "id": str(each.plug.id),
                        "name": each.plug.name,
                        "channels": each.plug.channels,
                        "in_s": each.in_s,
                        "took_s": each.took_s,
                    }
                    for each in station.plugs
                ],
            }
            for station in times.stations
        ],
    }
