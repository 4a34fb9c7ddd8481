"""The offline page, the service worker that shows it, the manifest, and the way on to the next item.

The worker caches one page, without anybody's data. A script fills it with the offline package (see `api`), which is
saved in the phone's own storage.
"""

import hashlib
import json
from functools import cache
from typing import Any

from fastapi.responses import JSONResponse, RedirectResponse, Response

from service.crew.context import AnyoneContext, CrewContext, page_router
from service.kit.codes import read_code
from service.lines.checks.forms import evidence_options
from service.sessions import queries
from service.sessions.actions import get_session
from service.sessions.claims import next_for
from service.tags.queries import item_with
from service.web.render import ENVIRONMENT
from service.web.static import STATIC, asset, imported

router = page_router()

_ASSETS = (
    "look/coilbook.css",
    "look/shapes.svg",
    "testlog/test.css",
    "tags/tags.css",
    "tags/live.js",
    "retire/pull.css",
    "lines/lines.css",
    "lines/wall.css",
    "icon.svg",
)
_ENTRY = "offline/shell.js"
_MANIFEST = {
    "name": "Coilbook",
    "short_name": "Coilbook",
    "start_url": "/",
    "scope": "/",
    "display": "standalone",
    "background_color": "#f8f2e4",
    "theme_color": "#12393d",
    "icons": [{"src": asset("icon.svg"), "sizes": "any", "type": "image/svg+xml", "purpose": "any"}],
}


@router.get("/offline")
def offline_page(_context: AnyoneContext) -> Response:
    """Show the offline page; with a signal it shows what waits on the phone."""
    return Response(shell(), 200, {"Cache-Control": "no-cache"}, "text/html")


@router.get("/sw.js")
def service_worker(_context: AnyoneContext) -> Response:
    """The service worker, which changes whenever anything that it caches does."""
    return Response(worker(), 200, {"Cache-Control": "no-cache"}, "text/javascript")


@router.get("/manifest.webmanifest")
def manifest(_context: AnyoneContext) -> Response:
    """The manifest with which a phone can install the service as an app."""
    return JSONResponse(_MANIFEST, headers={"Cache-Control": "no-cache"}, media_type="application/manifest+json")


@router.get("/sessions/{session_id}/next")
def next_item(context: CrewContext, session_id: str, after: str | None = None) -> Response:
    """Redirect to the form of the next item that nobody has claimed; to the session if there is none.

    This is for phones that could not claim an item: the offline page can replace this address. `after` is the code of
    the item that was just tested; without it, the item that this person tested last counts.
    """
    with context.reading() as db:
        session = get_session(db, session_id)
        tested = (
            item_with(db, read_code(after), ended=True).id
            if after
            else queries.last_item_of(db, session.id, context.me.id)
        )
        line = next_for(queries.worklist(db, session.id), context.me.id, tested, context.now)
    if line is None or session.closed_at:
        return RedirectResponse(f"/sessions/{session.id}", 303)
    return RedirectResponse(f"/t/{line.code}/test?session={session.id}", 303)


@cache
def shell() -> str:
    """The offline page, the same for everybody."""
    return ENVIRONMENT.get_template("home/offline/shell.html").render(evidence=evidence_options())


@cache
def precached() -> tuple[str, ...]:
    """What the worker caches: the shell and everything that it loads."""
    return ("/offline", *map(asset, _ASSETS), *imported(_ENTRY))


@cache
def worker() -> str:
    """The worker's script: the version and the list of what it caches, then its code."""
    code = (STATIC / "offline" / "sw.js").read_text()
    seen = hashlib.sha256("\0".join([code, shell(), *precached()]).encode()).hexdigest()[:12]
    build: dict[str, Any] = {"version": seen, "keeps": precached()}
    return f"const BUILD = {json.dumps(build)};\n{code}"
