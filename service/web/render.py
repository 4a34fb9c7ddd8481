"""Pages: one Jinja2 environment, autoescaping always, what every template may use, and the scripts that a page loads.

Scripts that import each other are served under one version, so that no page ever mixes two: `outbox/page.js` imports
`./store.js`, and a query on the first would not reach the second. So the version is a part of the path, made from the
content of all modules: `/static/m-1f0c9a2b3d/outbox/page.js`. What is under it never changes and may be cached for
good; what a newer service answers under an old version is not cached at all.
"""

import hashlib
import posixpath
import re
from datetime import date, datetime, timedelta
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from service.kit.dates import format_date, format_instant, local_date
from service.kit.problems import NotFound
from service.kit.quantities import Unit, format_chance, format_length, format_money
from service.settings import version

ROOT = Path(__file__).parents[2]
TEMPLATES = ROOT / "templates"
STATIC = ROOT / "static"
_FOLDERS = ("outbox", "offline")
_IMPORT = re.compile(r'^(?:import|export)\b[^;]*?"(\.[\w./-]+\.js)";', re.MULTILINE)

router = APIRouter(include_in_schema=False)


@cache
def asset(path: str) -> str:
    """The address of a static file, with a version made from its content so that it may be cached for good."""
    content = (STATIC / path).read_bytes()
    return f"/static/{path}?v={hashlib.sha256(content).hexdigest()[:10]}"


@router.get("/static/m-{version}/{path:path}")
def module_file(version: str, path: str) -> Response:
    """The content of a module: cached for good under the version that is served now, else not at all."""
    content = _modules().get(path)
    if content is None:
        raise NotFound("There is no such script. Reload the page.")
    cached = "public, max-age=31536000, immutable" if version == _version() else "no-store"
    return Response(content, 200, {"Cache-Control": cached}, "text/javascript")


def module(path: str) -> str:
    """The address of a module."""
    return f"/static/m-{_version()}/{path}"


@cache
def imported(entry: str) -> tuple[str, ...]:
    """The addresses of all modules that `entry` pulls in, itself first: what a page may load in one go."""
    paths = [entry]
    for path in paths:
        for name in _IMPORT.findall(_modules()[path].decode()):
            other = posixpath.normpath(posixpath.join(posixpath.dirname(path), name))
            if other not in paths:
                paths.append(other)
    return tuple(module(path) for path in paths)


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


def new_op() -> str:
    """A fresh id for a form's hidden field: under it the write is done once, however often it is sent."""
    return str(uuid4())


def words(value: str) -> str:
    """A state's key as words: `in_service` as "in service"."""
    return value.replace("_", " ")


def _environment() -> Environment:
    env = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    env.globals["asset"] = asset
    env.globals["version"] = version
    env.globals["new_op"] = new_op
    env.globals["module"] = module
    env.globals["imported"] = imported
    env.filters["words"] = words
    env.filters["chance"] = format_chance
    env.filters["day_before"] = lambda on: on - timedelta(days=1)
    env.filters["short_day"] = lambda on: f"{on:%b} {on.day}"
    return env


ENVIRONMENT = _environment()
_NO_PROGRAM = SimpleNamespace(name="Coilbook")


def render(request: Request, template: str, /, status: int = 200, **context: Any) -> HTMLResponse:
    """A page. Always there are `who`, `program`, `path`, `today`, `behind`, `trouble` and the filters `length`,
    `money`, `day`, `moment`.

    `request.state` carries who is signed in and the program, once a context has looked; `behind` is what housekeeping
    has still to bring up to today, `trouble` what keeps us from saving.
    """
    who = getattr(request.state, "who", None)
    program = getattr(request.state, "program", None)
    zone = ZoneInfo(program.zone if program else "UTC")
    unit = Unit(program.unit if program else "feet")
    now: datetime = request.app.state.clock()
    today = local_date(now, zone)
    context |= {
        "who": who,
        "program": program or _NO_PROGRAM,
        "path": request.url.path,
        "trouble": request.app.state.store.trouble(),
        "behind": getattr(request.state, "behind", None),
        "today": today,
        "length": lambda mm: format_length(mm, unit) if mm else "",
        "money": lambda cents: "" if cents is None else format_money(cents),
        "day": lambda on: _day(on, today),
        "moment": lambda at: format_instant(at, zone, today) if at else "",
    }
    html = ENVIRONMENT.get_template(template).render(context)
    return HTMLResponse(html, status, {"Cache-Control": "no-store"})


def _day(on: date | None, today: date) -> str:
    return format_date(on, today) if on else ""
