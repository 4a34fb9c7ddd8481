"""Security checks of every request and response: headers, host, origin, a valid path, size of the body, valid
characters in it, and what may be compressed.

Plain ASGI middleware, so that nothing is buffered. The origin check follows the Fetch Metadata approach: a browser says
where a request comes from (`Sec-Fetch-Site`), and older browsers send `Origin`; a form on another site can forge
neither. A request to the API without a cookie, or with a bearer token, has no credentials that another site could make
a browser send, so its origin is not checked.

Another site can point a host name of its own at our address (DNS rebinding), and its pages would then have the same
origin as ours, so a request under a foreign host name is refused. With HTTPS the only name is that of the base URL. In
a local network phones use the computer's IP address, which cannot be rebound, or the name that it has there.

Pages and JSON are compressed here, since at a truck there is no proxy that does it. Somebody who listens on the network
sees the length of a response. If it has a secret next to text that somebody else chose, its compressed length shows
whether the two are alike (the BREACH attack). Here a secret (a pass, a link, a token) is shown only in the response to
the form that made it, a POST, and no response to a POST is compressed. The sign-in cookie is a header, and headers are
not compressed.
"""

import ipaddress
import json
import re
import socket
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.kit.problems import Invalid, NotAllowed, Problem, invalid
from service.web.headers import headers_of_every_answer, headers_of_files
from service.web.problems import answer

_HOST = re.compile(r"(?P<name>\[[0-9a-fA-F:.]+\]|[^\[\]:/@\s]+)(?::\d{1,5})?")
SAFE = ("GET", "HEAD", "OPTIONS")
BODY_MOST = 6_000_000
"""The most bytes of a body, counted while it arrives: a reduced photo has 0.2 MB, and a full one fits."""
COMPRESSED_FROM = 1000
"""The fewest bytes of a response that is compressed: a smaller one fits into one packet anyway."""
COMPRESSION = 3
"""The level, from 1 to 9: level 6 takes four times as long for a tenth fewer bytes."""
_TOO_LARGE = (
    f"A request may hold {BODY_MOST // 1_000_000} MB at the most. "
    "Go back and send a smaller photo, or cut the file in two."
)


@dataclass(frozen=True)
class Hosts:
    """The host names of one service: `base` is the host of its base URL (None without one)."""

    base: str | None
    secure: bool
    own: frozenset[str] = frozenset()

    def known(self, header: str) -> bool:
        """Whether a request's Host header names this service."""
        match = _HOST.fullmatch(header)
        if match is None:
            return False
        name = match["name"].strip("[]").lower().rstrip(".")
        if name in (self.base, "localhost"):
            return True
        try:
            address = ipaddress.ip_address(name)
        except ValueError:
            return not self.secure and name in self.own
        return address.is_loopback or not self.secure

    def same_origin(self, origin: str, host: str) -> bool:
        """Whether an Origin header is that of our own pages, requested under this Host header."""
        schemes = ("https",) if self.secure else ("http", "https")
        return origin in {f"{scheme}://{host}" for scheme in schemes}


def hosts_of(base_url: str | None) -> Hosts:
    """The host names that belong to a base URL."""
    name = socket.gethostname().lower()
    return Hosts(
        base=urlsplit(base_url or "").hostname,
        secure=(base_url or "").startswith("https://"),
        own=frozenset({name, f"{name.removesuffix('.local')}.local"}),
    )


class TooLarge(Problem):
    """The body is larger than the limit."""

    status = 413
    title = "Too large"


class NotThisHost(Problem):
    """The Host header names another service."""

    status = 421
    title = "Not at this address"


class SecurityMiddleware:
    """The middleware that checks every request and adds headers to every response."""

    def __init__(self, app: ASGIApp, base_url: str | None) -> None:
        self.app = app
        self.hosts = hosts_of(base_url)
        self.headers = headers_of_every_answer(self.hosts.secure)
        self.file_headers = headers_of_files(self.hosts.secure)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse a request from elsewhere or with too large a body; add the headers to the response."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                is_file = scope["path"].startswith("/static/") and message["status"] in (200, 304)
                for name, value in (self.file_headers if is_file else self.headers).items():
                    headers.setdefault(name, value)
                if not scope["path"].startswith("/static/"):
                    headers.setdefault("Cache-Control", "no-store")
            await send(message)

        refusal = _refusal(scope, self.hosts)
        if isinstance(refusal, TooLarge) and "expect" not in Headers(scope=scope):
            # A client that asks first, with `Expect`, is refused at once. All others send before they listen: an answer
            # in the middle would reach many a browser, and proxy, as a connection that broke.
            await _drain(receive)
        if refusal is None:
            # A HEAD request is answered like a GET (RFC 9110, 9.3.2); the server does not send the body.
            request = {**scope, "method": "GET"} if scope["method"] == "HEAD" else scope
            if request["method"] != "GET":
                request = {**scope, "headers": [each for each in scope["headers"] if each[0] != b"accept-encoding"]}
            try:
                await self.app(request, _bounded(receive), send_with_headers)
            finally:
                if "route" in request:  # for the request log
                    scope["route"] = request["route"]
        else:
            await answer(Request(scope), refusal)(scope, receive, send_with_headers)


def _refusal(scope: Scope, hosts: Hosts) -> Problem | None:
    headers = Headers(scope=scope)
    named = headers.getlist("host")
    if len(named) != 1 or not hosts.known(named[0]):
        return NotThisHost("Coilbook is not reached by this name. Open it by the address on its tags.")
    if "\0" in scope["path"] or b"%00" in scope["query_string"]:  # PostgreSQL raises an error for a NUL
        return Invalid("This address has characters that cannot be shown. Go to Now and look from there.")
    if scope["method"] in SAFE:
        return None
    length = headers.get("content-length", "0")
    if not length.isascii() or not length.isdigit() or int(length) > BODY_MOST:
        return TooLarge(_TOO_LARGE)
    if _has_no_ambient_credentials(scope["path"], headers) or _is_same_origin_request(headers, hosts):
        return None
    return NotAllowed("This came from another site, so nothing was done. Open the page here and send it again.")


def bearer_token(headers: Mapping[str, str]) -> str | None:
    """The bearer token of a request (RFC 6750); None if there is none. The scheme may be in upper or lower case.

    >>> bearer_token({"authorization": "bearer abc "}), bearer_token({"authorization": "Basic abc"}), bearer_token({})
    ('abc', None, None)
    """
    scheme, _, token = headers.get("authorization", "").partition(" ")
    return token.strip() if scheme.lower() == "bearer" else None


def _has_no_ambient_credentials(path: str, headers: Headers) -> bool:
    """Whether no other site could have made a browser send this with somebody's credentials, since they are no
    cookie.
    """
    return bearer_token(headers) is not None or (path.startswith("/api/") and "cookie" not in headers)


def _is_same_origin_request(headers: Headers, hosts: Hosts) -> bool:
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = headers.get("origin")
    return origin is not None and hosts.same_origin(origin, headers["host"])


def _bounded(receive: Receive) -> Receive:
    taken = 0

    async def bounded() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > BODY_MOST:
            if message.get("more_body", False):
                await _drain(receive)
            raise TooLarge(_TOO_LARGE)
        return message

    return bounded


async def _drain(receive: Receive) -> None:
    """Read the rest of a body and drop it; if that takes too long, the server closes the connection
    (`slow_requests`).
    """
    while (await receive()).get("more_body", False):
        pass


async def refuse_half_characters(request: Request) -> None:
    """Refuse a JSON body with half a surrogate pair in it.

    JSON can write one half of a surrogate pair ("\\ud800"), which is no text: it cannot be stored, shown or logged.

    Raises:
        Invalid: naming the field that holds it.
    """
    if request.method == "GET":
        return
    try:
        sent = await request.json()  # the request caches it, so it is read once
    except ValueError:
        return  # the framework reports what is wrong with it
    fields = sent if isinstance(sent, dict) else {"body": sent}
    for name, value in fields.items():
        if not _is_text({name: value}):
            shown = name if _is_text(name) else "body"
            raise invalid(shown, f"{shown}: there is half a character in it. Type it again.")


def _is_text(value: Any) -> bool:
    try:
        json.dumps(value, ensure_ascii=False).encode()
    except UnicodeEncodeError:
        return False
    except RecursionError:  # no body of ours is nested so deeply, so the fields' own checks refuse it
        return True
    return True
