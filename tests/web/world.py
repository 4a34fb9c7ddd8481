"""The demo's program, running, with everything that a route's path can name, and one client for each of the cast."""

import re
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

from fastapi import FastAPI
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient
from sqlalchemy import select
from sqlalchemy.orm import Session

from service.app import create_app
from service.crew import actions
from service.crew.core import Actor, Role, Who
from service.crew.models import Person
from service.gear.models import Item, Place
from service.lines.checks.core.kinds import CheckKind
from service.lines.checks.models import LineCheck
from service.lines.inputs.models import Channel, InputList
from service.rig.models import RigRow
from service.schedule.calendar.actions import make_link
from service.season.models import Event, SeasonRow
from service.settings import Settings
from service.store.sessions import Store
from service.tags.models import Tag
from service.testlog.models import SessionKind, Swap, Test, WorkSession
from service.web import static
from service.web.upload import UploadReader
from tests.support.client import Client
from tests.support.demo import demo_file
from tests.support.program import BASE, START, Clock, MadeWhenAsked, entered, op, tables_folder
from tests.testlog.support import ZONE

NOTHING = UUID("00000000-0000-4000-8000-00000000dead")
"""The id of nothing, for what the demo has none of."""


@dataclass
class World:
    """`params` has a value for every name in a route's path; `clients` one for each role, and one signed out."""

    app: FastAPI
    store: Store
    clock: Clock
    clients: dict[str, TestClient]
    params: dict[str, str]

    def path(self, template: str) -> str:
        """A route's path with something that is there in each place."""
        filled = template.replace("{path:path}", self.params["path"])
        for name, value in self.params.items():
            filled = filled.replace(f"{{{name}}}", value)
        filled = re.sub(r"\{\w+_id\}", str(NOTHING), filled)
        assert "{" not in filled, f"tests/web/world.py knows nothing to put into {filled}"
        return filled


def routes(app: FastAPI) -> list[APIRoute]:
    """Every route of the service, those of routers inside routers too."""
    return list(_walk(app.routes))


def _walk(found: Sequence[Any]) -> Iterator[APIRoute]:
    for route in found:
        inside = getattr(route, "original_router", None)
        if inside is not None:
            yield from _walk(inside.routes)
        elif isinstance(route, APIRoute):
            yield route


def rows(app: FastAPI) -> dict[str, APIRoute]:
    """Every route by method and path, as `roles.py` names them."""
    return {f"{method} {route.path}": route for route in routes(app) for method in sorted(route.methods or ())}


_rows = cache(rows)


@contextmanager
def world(folder: Path, **settings: Any) -> Iterator[World]:
    """The service over a copy of the demo."""
    file = folder / f"{uuid4()}.db"
    shutil.copy(demo_file(), file)
    clock = Clock()
    app = create_app(Settings(f"sqlite:///{file}", **({"base_url": BASE} | settings)), clock)
    app.state.tables = MadeWhenAsked(tables_folder())
    store: Store = app.state.store
    with store.writing() as db:
        tokens = {role: _token(db, role) for role in ("viewer", "crew", "lead", "revoked")}
        params = _params(db)
    clients = {role: _client(app, token) for role, token in tokens.items()} | {"stranger": _client(app, "")}
    with entered(*clients.values()):
        yield World(app, store, clock, clients, params)


def _client(app: FastAPI, token: str) -> TestClient:
    headers = {"Origin": BASE} | ({"Authorization": f"Bearer {token}"} if token else {})
    return Client(app, BASE, headers=headers, follow_redirects=False)


def _token(db: Session, role: str) -> str:
    now = START
    if role != "revoked":
        return actions.make_token(db, f"The {role}", Role(role), now)
    token = actions.make_token(db, "Gone lead", Role.LEAD, now)
    gone = db.scalars(select(Person).where(Person.display_name == "Gone lead")).one()
    actions.end_person(db, gone.id, Actor(_someone(db), now, ZONE))
    return token


def _someone(db: Session) -> Who:
    lead = db.scalars(select(Person).where(Person.display_name == "The lead")).one()
    return Who(lead.id, lead.display_name, Role.LEAD)


def _params(db: Session) -> dict[str, str]:
    """Something real for each name in a path; an id of nothing where the demo has none."""
    item = db.scalars(select(Item).where(Item.state == "in_service", Item.wiring == "xlr3")).first()
    assert item is not None
    module = next(iter(static.sent_modules()))
    made = actions.make_pass(db, Role.CREW, "To be ended", None, START)
    extra = actions.add_person(db, "To be ended", Role.CREW, START)
    sessions = select(WorkSession.id).where(WorkSession.kind == SessionKind.TEST)
    return {
        "named": str(item.id),
        "code": db.scalars(select(Tag.code).where(Tag.item_id == item.id, Tag.until.is_(None))).one(),
        "op": op(),
        "session_id": _id(db, sessions.where(WorkSession.closed_at.is_(None))),
        "place_id": _id(db, select(Place.id)),
        "place": _id(db, select(Place.id)),
        "season_id": _id(db, select(SeasonRow.id)),
        "event_id": _id(db, select(Event.id)),
        "test_id": _id(db, select(Test.id)),
        "swap_id": _id(db, select(Swap.id)),
        "pass_id": str(made.id),
        "person_id": str(extra.id),
        "list_id": _id(db, select(InputList.id)),
        "channel_id": _id(db, select(Channel.id).join(LineCheck, LineCheck.input_list_id == Channel.input_list_id)),
        "check_id": _id(db, select(LineCheck.id).where(LineCheck.kind == CheckKind.CHECK)),
        "drill_id": _id(db, select(LineCheck.id).where(LineCheck.kind == CheckKind.DRILL)),
        "rig_id": _id(db, select(RigRow.id)),
        "secret": make_link(db, "A parent", Actor(_someone(db), START, ZONE)),
        "key": "xlr3",
        "version": static._version(),
        "path": module,
    }


def _id(db: Session, query: Any) -> str:
    return str(db.scalars(query.limit(1)).first() or NOTHING)


def _test(at: World) -> dict[str, Any]:
    code = at.params["code"]
    return {"id": op(), "item": code, "method": "two_ended", "joined": [["A1", "B1"]], "probed": "all"}


BODIES: dict[str, Callable[[World], dict[str, Any]]] = {
    "POST /api/v1/items": lambda at: {"id": op(), "kind": "cable", "wiring": "xlr3", "length": "10 ft"},
    "POST /api/v1/tests": _test,
    "POST /api/v1/pull/ticks": lambda at: {
        "id": op(),
        "event": at.params["event_id"],
        "item": at.params["code"],
        "action": "test_first",
    },
    "POST /api/v1/marks": lambda at: {"id": op(), "test": at.params["test_id"]},
    "POST /api/v1/heard": lambda at: {
        "id": op(),
        "check": at.params["check_id"],
        "channel": at.params["channel_id"],
        "heard": "good",
    },
    "POST /api/v1/causes": lambda at: {
        "id": op(),
        "check": at.params["check_id"],
        "channel": at.params["channel_id"],
        "what": "unknown",
    },
    "POST /api/v1/stations-done": lambda at: {"id": op(), "drill": at.params["drill_id"], "station": "Mixer"},
    "POST /api/v1/rigs": lambda at: {"id": op(), "name": "Indoor"},
    "POST /api/v1/suspects": lambda at: {"id": op(), "item": at.params["code"]},
    "POST /api/v1/input-lists": lambda at: {"id": op(), "event": at.params["event_id"]},
    "POST /api/v1/input-lists/{list_id}/channels": lambda at: {"id": op(), "number": 90, "source": "Choir"},
    "POST /api/v1/channels/{channel_id}": lambda at: {"id": op(), "number": 1, "source": "Marimba 1 low"},
    "POST /api/v1/channels/{channel_id}/end": lambda at: {"id": op()},
    "POST /api/v1/swaps": lambda at: {"id": op(), "bad": at.params["code"], "spare": at.params["code"]},
}
"""What the JSON routes take: their bodies are read before anybody is asked who they are."""


FIELDS: dict[str, Callable[[World], dict[str, str]]] = {
    "GET /sessions/{session_id}/next": lambda at: {"after": at.params["code"]},
    "POST /sessions/{session_id}/found": lambda at: {"op": op(), "item": op()},
    "POST /sessions/{session_id}/moved": lambda at: {"op": op(), "item": op()},
    "POST /sessions/{session_id}/unseen": lambda at: {"op": op(), "item": op()},
    "POST /sessions/{session_id}/walked": lambda at: {"op": op(), "place": op()},
}
"""What else some routes read first."""


def sent(at: World, row: str) -> dict[str, Any]:
    """What a request of a row carries, as arguments of the client: enough to get as far as the role."""
    if row in BODIES:
        return {"json": BODIES[row](at)}
    fields = FIELDS[row](at) if row in FIELDS else {}
    if row.startswith("GET"):
        return {"params": fields}
    data = {"data": fields or {"op": op()}}
    return data | ({"files": {"file": b""}} if takes_file(at.app, row) else {})


def takes_file(app: FastAPI, row: str) -> bool:
    """Whether a route reads a form with a file."""
    return any(isinstance(each.call, UploadReader) for each in _rows(app)[row].dependant.dependencies)
