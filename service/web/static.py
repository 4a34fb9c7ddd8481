"""The static files: where a page finds them, and how they are sent.

Every address has a version made from the content, so that the content under it never changes and may be cached
forever. Scripts that import each other share one version, so that no page mixes two: `outbox/page.js` imports
`./store.js`, and a query on the first would not apply to the second. So their version is a part of the path, made from
the content of all modules: `/static/m-1f0c9a2b3d/outbox/page.js`. The answer of a newer service to an old version is
not cached at all.

Files are read, stripped of comments and indentation, and compressed once in a process, at their first use: all of them
together are 0.2 MB. See `modules` for the scripts that are joined.
"""

import gzip
import hashlib
import mimetypes
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup
from rcssmin import cssmin
from rjsmin import jsmin

from service.kit.problems import NotFound
from service.web.modules import imports, joined
from service.web.routes import DeferredRoute

STATIC = Path(__file__).parents[2] / "static"
_MODULES = ("outbox/*.js", "offline/*.js", "lines/*.js", "look/theme.js")
_FOR_GOOD = "public, max-age=31536000, immutable"
_REVALIDATED = "no-cache"
_BETWEEN_SHAPES = re.compile(r"<!--.*?-->|(?<=>)\s+(?=<)", re.DOTALL)

router = APIRouter(include_in_schema=False, route_class=DeferredRoute)


@dataclass(frozen=True)
class StaticFile:
    """A file as it is sent; `version` is the first ten hexadecimal digits of its SHA-256."""

    content: bytes
    compressed: bytes
    media_type: str
    version: str


@router.get("/static/m-{version}/{path:path}")
def module_file(request: Request, version: str, path: str) -> Response:
    """The content of a module: cached forever under the present version, else not at all."""
    if path not in sent_modules():
        raise NotFound("There is no such script. Reload the page.")
    return _sent(request, _module_file(path), _FOR_GOOD if version == _version() else "no-store")


@router.get("/static/{path:path}")
def any_file(request: Request, path: str, v: str = "") -> Response:
    """A static file: cached forever under its version, else revalidated."""
    if path not in _paths():
        raise NotFound("There is no such file. Reload the page.")
    file = static_file(path)
    return _sent(request, file, _FOR_GOOD if v == file.version else _REVALIDATED)


def _sent(request: Request, file: StaticFile, cached: str) -> Response:
    headers = {"Cache-Control": cached, "Vary": "Accept-Encoding"}
    if cached == _REVALIDATED:
        headers["ETag"] = tag = f'W/"{file.version}"'  # weak: it is also that of the compressed bytes (RFC 9110, 8.8.1)
        if tag in request.headers.get("if-none-match", ""):
            return Response(None, 304, headers)
    if "gzip" in request.headers.get("accept-encoding", ""):
        return Response(file.compressed, 200, headers | {"Content-Encoding": "gzip"}, file.media_type)
    return Response(file.content, 200, headers, file.media_type)


@cache
def static_file(path: str) -> StaticFile:
    """One of the files below `static`.

    Raises:
        OSError: it cannot be read.
    """
    return _file(path, (STATIC / path).read_bytes())


@cache
def _module_file(path: str) -> StaticFile:
    return _file(path, sent_modules()[path].encode())


def _file(path: str, whole: bytes) -> StaticFile:
    content = stripped(path, whole)
    version = hashlib.sha256(content).hexdigest()[:10]
    kind = mimetypes.guess_type(path)[0] or "application/octet-stream"
    return StaticFile(content, gzip.compress(content, 9, mtime=0), kind, version)


def stripped(path: str, whole: bytes) -> bytes:
    """A script, a style or a picture without its comments and indentation, a third of it; any other file as it is."""
    strip = {".js": jsmin, ".css": cssmin, ".svg": lambda text: _BETWEEN_SHAPES.sub("", text)}.get(Path(path).suffix)
    return strip(whole.decode()).encode() if strip else whole


@cache
def asset(path: str) -> str:
    """The address of a static file."""
    return f"/static/{path}?v={static_file(path).version}"


@cache
def module(path: str) -> str:
    """The address of a module."""
    return f"/static/m-{_version()}/{path}"


@cache
def imported(entry: str) -> tuple[str, ...]:
    """The addresses of all modules that `entry` imports, directly or not, itself first."""
    paths = [entry]
    for path in paths:
        paths += dict.fromkeys(other for other in imports(path, sent_modules()[path]) if other not in paths)
    return tuple(module(path) for path in paths)


@cache
def script(entry: str) -> Markup:
    """The HTML that runs a module, and that has all which it imports loaded at the same time, not one after another."""
    _, *others = imported(entry)
    preloads = [Markup('<link rel="modulepreload" href="{}">').format(address) for address in others]
    return Markup("\n").join([*preloads, Markup('<script type="module" src="{}"></script>').format(module(entry))])


@cache
def _paths() -> frozenset[str]:
    return frozenset(str(path.relative_to(STATIC)) for path in STATIC.rglob("*") if path.is_file())


@cache
def sent_modules() -> dict[str, str]:
    """Each module as it is sent, but for its comments, by path."""
    paths = sorted(path for pattern in _MODULES for path in STATIC.glob(pattern))
    return joined({str(path.relative_to(STATIC)): path.read_text() for path in paths})


@cache
def _version() -> str:
    seen = hashlib.sha256()
    for path, text in sent_modules().items():
        seen.update(f"{path}\0{len(text)}\0{text}".encode())
    return seen.hexdigest()[:10]
