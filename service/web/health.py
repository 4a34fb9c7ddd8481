"""Whether the service is alive, and whether it can work."""

from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse, Response

from service.kit.problems import Busy
from service.store import migrate
from service.store.disk_space import CannotSave
from service.store.sessions import Store
from service.web.routes import DeferredRoute

router = APIRouter(include_in_schema=False, route_class=DeferredRoute)


@router.get("/healthz")
async def alive() -> Response:
    """Whether the process answers."""
    return PlainTextResponse("ok\n")


@router.get("/readyz")
def ready(request: Request) -> Response:
    """Whether the database answers, is at head and can be written."""
    store: Store = request.app.state.store
    if not store.reachable():
        raise Busy("The database does not answer. Check that it runs, and COILBOOK_DATABASE_URL.")
    if migrate.current(store) != migrate.head():
        raise Busy("The database is not at the newest revision. Run: coilbook migrate")
    if reason := store.trouble():
        raise CannotSave(reason)
    return PlainTextResponse("ready\n")
