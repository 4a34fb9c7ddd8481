"""The service's log: one JSON object on each line, without secrets and without names of people.

For a request it has the time, the method, the route (its template, since a path may contain a code or a calendar's
secret), the status, the duration, and an id that the response also has (`X-Request-Id`), so that an error on a screen
can be found here. It has no query, body, header or name. A refused sign-in is a 401 at `/sign-in`; the audit trail
says who signed in.
"""

import json
import logging
import secrets
import sys
import time
from datetime import UTC, datetime
from typing import TextIO

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

REQUESTS = logging.getLogger("coilbook.requests")
ID = "X-Request-Id"
HERE = "coilbook.here"
"""The key in a request's scope for the time at which its head had arrived."""


class RequestLog:
    """The outermost middleware: gives every request its id, and writes its line when it is done."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, and log its outcome."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        began, status = time.perf_counter(), 500
        scope["coilbook.request"] = secrets.token_hex(8)
        scope[HERE] = scope["app"].state.clock()

        async def send_with_id(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)[ID] = request_id(scope)
            await send(message)

        try:
            await self.app(scope, receive, send_with_id)
        finally:
            if REQUESTS.isEnabledFor(logging.INFO):
                REQUESTS.info("request", extra={"facts": _facts(scope, status, time.perf_counter() - began)})


def request_id(scope: Scope) -> str:
    """The id of a request."""
    given: str = scope["coilbook.request"]
    return given


def route_of(scope: Scope) -> str:
    """The template of a request's path; `-` if no route matched."""
    return str(getattr(scope.get("route"), "path", "-"))


def _facts(scope: Scope, status: int, seconds: float) -> dict[str, object]:
    return {
        "request": request_id(scope),
        "method": scope["method"],
        "route": route_of(scope),
        "status": status,
        "ms": round(seconds * 1000, 1),
    }


class LineFormatter(logging.Formatter):
    """Formats every record as one line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        """The record as JSON, with the traceback if there was an error."""
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        line: dict[str, object] = {"time": at, "level": record.levelname.lower(), "says": record.getMessage()}
        line |= getattr(record, "facts", {})
        if record.exc_info:
            line["error"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False, default=str)


def start_request_log(out: TextIO = sys.stdout) -> None:
    """Log to `out`: every request, or, if `out` is a terminal, only errors."""
    handler = logging.StreamHandler(out)
    handler.setFormatter(LineFormatter())
    logging.basicConfig(handlers=[handler], level=logging.WARNING if out.isatty() else logging.INFO, force=True)
    for talkative in ("python_multipart", "fontTools", "fpdf", "PIL"):
        logging.getLogger(talkative).setLevel(logging.ERROR)
