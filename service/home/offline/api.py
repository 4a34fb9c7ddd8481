"""The offline package of a phone, over the API."""

from typing import Annotated, Any

from fastapi import Path

from service.crew.context import CrewContext, api_router
from service.home.offline import actions
from service.kit.quantities import Unit
from service.sessions.actions import get_session

router = api_router("/sessions", "sessions")


@router.get("/{session_id}/package")
def package(
    context: CrewContext, session_id: Annotated[str, Path(json_schema_extra={"format": "uuid"})]
) -> dict[str, Any]:
    """A session's worklist in walking order, with the forms of its wirings and where their tables are."""
    with context.reading() as db:
        session, unit = get_session(db, session_id), Unit(context.program.unit)
        return actions.package(db, session, context.me, unit, context.today, context.zone)
