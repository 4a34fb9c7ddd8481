"""The buttons of one's own page that sign out elsewhere."""

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from service.crew.context import ViewerContext
from service.crew.devices import actions

router = APIRouter(include_in_schema=False)


@router.post("/me/devices/{device_id}/end")
def end_device(desk: ViewerContext, device_id: str) -> Response:
    """Sign out one of one's own devices; it counts from its next request on."""
    with desk.writing() as db:
        actions.end_device(db, desk.me, device_id, desk.session, desk.now)
    return RedirectResponse("/me?ended=1", 303)


@router.post("/me/other-devices/end")
def end_others(desk: ViewerContext) -> Response:
    """Sign out all of one's own devices but this one."""
    with desk.writing() as db:
        actions.end_others(db, desk.me, desk.session, desk.now)
    return RedirectResponse("/me?ended=1", 303)
