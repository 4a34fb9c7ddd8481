"""Rendering pages: one Jinja2 environment with autoescaping, and what every template may use."""

import os
import sys
from datetime import date, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemBytecodeCache, FileSystemLoader, StrictUndefined

from service.kit.dates import format_date, format_instant, local_date
from service.kit.quantities import Unit, format_chance, format_length, format_money
from service.settings import version
from service.web.static import asset, script

ROOT = Path(__file__).parents[2]
TEMPLATES = ROOT / "templates"


def new_op() -> str:
    """A new operation id for a form's hidden field: however often it is sent, the write is done once."""
    return str(uuid4())


def words(value: str) -> str:
    """The key of a state in words: `in_service` as "in service"."""
    return value.replace("_", " ")


def _compiled_templates() -> FileSystemBytecodeCache | None:
    """The cache of compiled templates, in the folder of this module's byte code if Python writes any: compiling them
    takes too long for a start. Jinja compares a checksum of each template.
    """
    folder = Path(__file__).parent / "__pycache__"
    is_kept = not sys.dont_write_bytecode and os.access(folder, os.R_OK | os.W_OK | os.X_OK)
    return FileSystemBytecodeCache(str(folder)) if is_kept else None


def _environment() -> Environment:
    env = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
        bytecode_cache=_compiled_templates(),
    )
    env.globals["asset"] = asset
    env.globals["version"] = version
    env.globals["new_op"] = new_op
    env.globals["script"] = script
    env.filters["words"] = words
    env.filters["chance"] = format_chance
    env.filters["day_before"] = lambda on: on - timedelta(days=1)
    env.filters["short_day"] = lambda on: f"{on:%b} {on.day}"
    return env


ENVIRONMENT = _environment()
_NO_PROGRAM = SimpleNamespace(name="Coilbook")


def render(request: Request, template: str, /, status: int = 200, **context: Any) -> HTMLResponse:
    """A page as a response. Every template has `who`, `program`, `path`, `today`, `behind`, `trouble` and the filters
    `length`, `money`, `day`, `moment`.

    `request.state` has who is signed in and the program, once a context has looked them up; `behind` is what
    housekeeping has not yet brought up to today, `trouble` why nothing can be saved.
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
