"""What a phone takes along, over the API."""

from typing import Any

from fastapi import APIRouter

from service.crew.desk import CrewDesk
from service.home.offline import actions
from service.kit.lengths import Unit
from service.kit.problems import NotFound
from service.testlog import entering
from service.testlog.sessions import queries

router = APIRouter(prefix="/api/v1/sessions", tags=["sessions"])


@router.get("/{session_id}/package")
def package(desk: CrewDesk, session_id: str) -> dict[str, Any]:
    """A session's worklist in walking order, with the forms of its wirings and where their tables are."""
    with desk.reading() as db:
        key = entering.as_id(session_id)
        found = queries.session(db, key) if key else None
        if found is None:
            raise NotFound("There is no such session. Look for it among the sessions.")
        return actions.package(db, found, desk.me, Unit(desk.program.unit))
