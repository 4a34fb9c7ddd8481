"""The service's log: one JSON object a line, with nothing in it that opens a door or names a person.

Of a request it says when, which method, which route (its template: a path may hold a code or a calendar's secret),
which status, how long, and an id that the answer carries too (`X-Request-Id`), so that what somebody saw on a screen
is found here. No query, no body, no header, no name. Refused sign-ins are 401 at `/sign-in`; who signed in stands in
the audit trail.
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
"""Under this name a request's scope says when its head was here."""


class RequestLog:
    """The outermost layer: gives every request its id, and writes its line when it is over."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, and write down what became of it."""
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
    """The template of a request's path; `-` where no route took it."""
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
    """Every record as one line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        """The record, with an error's trace where it has one."""
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        line: dict[str, object] = {"time": at, "level": record.levelname.lower(), "says": record.getMessage()}
        line |= getattr(record, "facts", {})
        if record.exc_info:
            line["error"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False, default=str)


def start_request_log(out: TextIO = sys.stdout) -> None:
    """Log to `out`: every request, or where a person watches a terminal only what went wrong."""
    handler = logging.StreamHandler(out)
    handler.setFormatter(LineFormatter())
    logging.basicConfig(handlers=[handler], level=logging.WARNING if out.isatty() else logging.INFO, force=True)
    for talkative in ("python_multipart", "fontTools", "fpdf", "PIL"):
        logging.getLogger(talkative).setLevel(logging.ERROR)
