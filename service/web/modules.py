"""Scripts that import each other, served under one version, so that no page ever mixes two.

`outbox/page.js` imports `./store.js`; a query on the first would not reach the second. Here the version is a part of
the path, made from the content of all modules: `/static/m-1f0c9a2b3d/outbox/page.js`. What is under it never changes
and is kept for good; what a newer service answers under an old version is not kept at all.
"""

import hashlib
import posixpath
import re
from functools import cache
from pathlib import Path

from fastapi import APIRouter
from fastapi.responses import Response

from service.kit.problems import NotFound

router = APIRouter(include_in_schema=False)

STATIC = Path(__file__).parents[2] / "static"
_FOLDERS = ("outbox", "offline")
_IMPORT = re.compile(r'^(?:import|export)\b[^;]*?"(\.[\w./-]+\.js)";', re.MULTILINE)


@router.get("/static/m-{version}/{path:path}")
def module_file(version: str, path: str) -> Response:
    """A module."""
    content = _modules().get(path)
    if content is None:
        raise NotFound("There is no such script. Reload the page.")
    kept = "public, max-age=31536000, immutable" if version == _version() else "no-store"
    return Response(content, 200, {"Cache-Control": kept}, "text/javascript")


def module(path: str) -> str:
    """The address of a module."""
    return f"/static/m-{_version()}/{path}"


@cache
def imported(entry: str) -> tuple[str, ...]:
    """The addresses of all modules that `entry` pulls in, itself first: what a page may load in one go."""
    found = [entry]
    for path in found:
        for name in _IMPORT.findall(_modules()[path].decode()):
            other = posixpath.normpath(posixpath.join(posixpath.dirname(path), name))
            if other not in found:
                found.append(other)
    return tuple(module(path) for path in found)


@cache
def _modules() -> dict[str, bytes]:
    paths = sorted(path for folder in _FOLDERS for path in (STATIC / folder).glob("*.js"))
    return {str(path.relative_to(STATIC)): path.read_bytes() for path in paths}


@cache
def _version() -> str:
    seen = hashlib.sha256()
    for path, content in _modules().items():
        seen.update(f"{path}\0{len(content)}\0".encode() + content)
    return seen.hexdigest()[:10]
