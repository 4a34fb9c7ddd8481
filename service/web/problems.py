"""The handlers of refusals: a page for a browser, RFC 9457 problem JSON for everything under /api/."""

import json
import logging
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.routing import Match

from service.kit.problems import Busy, Conflict, Gone, Invalid, NotAllowed, NotFound, Problem, SignInNeeded
from service.web.headers import headers_of_every_answer
from service.web.middleware.request_log import ID, request_id, route_of
from service.web.render import render

log = logging.getLogger("coilbook")

_BY_STATUS: dict[int, type[Problem]] = {
    kind.status: kind for kind in (SignInNeeded, NotAllowed, NotFound, Conflict, Gone, Invalid, Busy)
}


_DESCRIBED = {
    "type": "object",
    "required": ["type", "title", "status", "detail"],
    "properties": {
        "type": {"type": "string"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["field", "detail"],
                "properties": {"field": {"type": "string"}, "detail": {"type": "string"}},
            },
        },
    },
}
RESPONSES: dict[int | str, dict[str, Any]] = {
    code: {"description": words, "content": {"application/problem+json": {"schema": _DESCRIBED}}}
    for code, words in (
        ("4XX", "Refused; `detail` says why, and `errors` which fields are at fault (RFC 9457)."),
        ("5XX", "Busy or broken; with `Retry-After` the same may be sent again."),
    )
}
"""Refusals in the description of the API."""


class Unexpected(Problem):
    """An error of the service itself."""

    status = 500
    title = "Something broke on our side"


def install(app: FastAPI) -> None:
    """Register the handlers for our refusals and for those of the framework."""
    app.add_exception_handler(Problem, _refused)
    app.add_exception_handler(HTTPException, _refused_by_framework)
    app.add_exception_handler(RequestValidationError, _not_valid)
    app.add_exception_handler(ClientDisconnect, _client_disconnected)
    app.add_exception_handler(Exception, _unexpected)


def answer(request: Request, problem: Problem) -> Response:
    """The problem as problem JSON for the API, else as a page."""
    headers = {"Cache-Control": "no-store"}
    if problem.wait is not None:
        headers["Retry-After"] = str(problem.wait)
    if request.url.path.startswith("/api/"):
        return _as_json(problem, headers)
    response = render(request, "problem.html", status=problem.status, problem=problem, writes=_writes(request))
    response.headers.update(headers)
    return response


def _writes(request: Request) -> bool:
    """Whether the request should have saved something; the answer to a look-up does not speak of saving."""
    return request.method not in ("GET", "HEAD")


def _as_json(problem: Problem, headers: dict[str, str]) -> Response:
    if isinstance(problem, SignInNeeded):
        headers["WWW-Authenticate"] = 'Bearer realm="coilbook"'
    body: dict[str, Any] = {
        "type": "about:blank",
        "title": problem.title,
        "status": problem.status,
        "detail": problem.detail,
    }
    if problem.errors:
        body["errors"] = [{"field": name, "detail": sentence} for name, sentence in problem.errors.items()]
    # The sentence may quote what was sent, and half a surrogate pair in it cannot be encoded.
    text = json.dumps(body, ensure_ascii=False).encode("utf-8", "replace")
    return Response(text, problem.status, headers, "application/problem+json")


def _refused(request: Request, error: Exception) -> Response:
    if not isinstance(error, Problem):
        raise error
    return answer(request, error)


def _refused_by_framework(request: Request, error: Exception) -> Response:
    if not isinstance(error, HTTPException):
        raise error
    kind = _BY_STATUS.get(error.status_code, Problem)
    problem = kind(_SENTENCES.get(error.status_code, f"{error.detail}."))
    problem.status = error.status_code
    response = answer(request, problem)
    response.headers.update(error.headers or {})
    if error.status_code == 405:
        response.headers["Allow"] = ", ".join(_allowed_methods(request) or ["GET"])
    return response


def _allowed_methods(request: Request) -> list[str]:
    """The methods that an address accepts: the framework names only those of one of its routes."""
    tried = [{**request.scope, "method": method} for method in ("GET", "POST")]
    routes = request.app.routes
    return [scope["method"] for scope in tried if any(each.matches(scope)[0] is Match.FULL for each in routes)]


_SENTENCES = {
    404: "There is no page at this address. Go to Now and look from there.",
    405: "This address does not take that kind of request.",
    413: "What was sent is too large.",
}


def _not_valid(request: Request, error: Exception) -> Response:
    if not isinstance(error, RequestValidationError):
        raise error
    errors: dict[str, str] = {}
    for one in error.errors():
        path = [str(part) for part in one["loc"] if part not in ("body", "query", "path")]
        if one["type"] == "json_invalid":
            path = []  # this is the position at which reading stopped, not a field
        errors.setdefault(".".join(path) or "body", sentence(path, one))
    return answer(request, Invalid(" ".join(dict.fromkeys(errors.values())), errors))


def sentence(path: list[str], error: Any) -> str:
    """An error of the validation library as a sentence that names the field."""
    name = ".".join(path) or "the body"
    if error["type"] == "missing":
        return f"{name} is missing."
    if error["type"] == "refused":
        return str(error["msg"])
    return f"{name}: {error['msg'][0].lower()}{error['msg'][1:]}."


def _client_disconnected(_request: Request, _error: Exception) -> Response:
    """The client closed the connection while sending: nobody receives this, and it is no error of the service."""
    return Response(status_code=400)


def _unexpected(request: Request, error: Exception) -> Response:
    facts = {"request": request_id(request.scope), "method": request.method, "route": route_of(request.scope)}
    log.error("unexpected error", exc_info=error, extra={"facts": facts})
    half = "Nothing was saved half; please" if _writes(request) else "Please"
    response = answer(request, Unexpected(f"It is written to the log. {half} try again."))
    # This response is made outside the middleware that adds the headers to all others.
    response.headers.update(headers_of_every_answer(request.app.state.settings.secure))
    response.headers[ID] = request_id(request.scope)
    return response
