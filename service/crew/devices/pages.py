"""The buttons of one's own page that sign out elsewhere."""

from fastapi.responses import RedirectResponse, Response

from service.crew.context import ViewerContext, page_router
from service.crew.devices import actions

router = page_router()


@router.post("/me/devices/{device_id}/end")
def end_device(context: ViewerContext, device_id: str) -> Response:
    """Sign out one of one's own devices; it counts from its next request on."""
    with context.writing() as db:
        actions.end_device(db, context.me, device_id, context.session, context.now)
    return RedirectResponse("/me?ended=1", 303)


@router.post("/me/other-devices/end")
def end_others(context: ViewerContext) -> Response:
    """Sign out all of one's own devices but this one."""
    with context.writing() as db:
        actions.end_others(db, context.me, context.session, context.now)
    return RedirectResponse("/me?ended=1", 303)
