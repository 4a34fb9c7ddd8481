"""A program for tests: the service over a migrated database, with a lead, a crew member and a viewer."""

import gzip
import json
import shutil
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any
from uuid import uuid4

from fastapi.testclient import TestClient
from sqlalchemy import make_url

from service.app import create_app
from service.chores import CHORES
from service.crew import actions
from service.crew.core import Role
from service.settings import Settings
from service.store import migrate
from service.store.engine import is_sqlite
from service.store.files import in_one_file
from service.store.sessions import Store
from service.testers.tables import Named, Tables
from service.testlog.housekeeping import keep_house
from service.wiring.builtin import BUILTIN
from tests.support.client import Client
from tests.support.made import made_folder, made_once
from tests.support.postgres import copied
from tests.support.waiting import PATIENCE

START = datetime(2026, 9, 21, 22, 0, tzinfo=UTC)
"""When a test's clock starts: an evening in the fall season, 6 pm in the program's zone."""
BASE = "http://cables.test"
TOKENS = "tokens.json"


@dataclass
class Clock:
    """A clock that a test moves."""

    now: datetime = START

    def __call__(self) -> datetime:
        return self.now

    def ahead(self, **by: float) -> None:
        """Move the clock forward."""
        self.now += timedelta(**by)


@dataclass
class Running:
    """The running service, and a signed-in client for each role. `stranger` is not signed in."""

    store: Store
    clock: Clock
    lead: TestClient
    crew: TestClient
    viewer: TestClient
    stranger: TestClient


def op() -> str:
    """A new operation id for one write."""
    return str(uuid4())


def form_of_a_test() -> dict[str, str]:
    """The hidden fields of a form of a test that was open for a while: the operation id, and when it was made."""
    return {"op": op(), "made": "2026-01-01T00:00:00+00:00"}


@contextmanager
def running(url: str, **settings: object) -> Iterator[Running]:
    """The service over a new database at `url`, which is a copy of one with a program and its people."""
    tokens = _copied_with_cast(url)
    clock = Clock()
    given = {"base_url": BASE, "tables": tables_folder()} | settings
    app = create_app(Settings(database_url=url, **given), clock)  # type: ignore[arg-type]
    if "tables" not in settings:
        app.state.tables = MadeWhenAsked(tables_folder())
    app.state.imports.timeout = PATIENCE  # so that the request of an import waits for its result
    app.state.house.timeout = PATIENCE  # so that a page shows the results of housekeeping
    base = app.state.settings.base_url or "http://localhost"
    store: Store = app.state.store

    def client(role: Role | None) -> TestClient:
        headers = {"Origin": base} | ({"Authorization": f"Bearer {tokens[role]}"} if role else {})
        return Client(app, base, headers=headers, follow_redirects=False)

    lead, crew, viewer, stranger = map(client, (Role.LEAD, Role.CREW, Role.VIEWER, None))
    with entered(stranger, lead, crew, viewer):
        yield Running(store, clock, lead, crew, viewer, stranger)


@contextmanager
def entered(client: TestClient, *others: TestClient) -> Iterator[None]:
    """Start the service of these clients. All requests run in its event loop, not each in a new one."""
    with client:
        for other in others:
            other.portal = client.portal
        yield


class MadeWhenAsked(Tables):
    """Offline tables that are not made in advance, which would start a process for each session that a test opens."""

    def make_ahead(self, wirings: Iterable[Named]) -> None:
        """Do nothing: the first request makes them."""


def migrated(url: str) -> None:
    """Bring a new database to head, as a copy of one that was migrated before."""
    if is_sqlite(url):
        shutil.copy(made_once("migrated.db", _make_migrated_file), str(make_url(url).database))
    else:
        copied(url, "migrated", migrate.upgrade)


def tables_folder() -> Path:
    """The folder of the offline tables for the services of tests: each table is computed once for all tests."""
    return made_folder() / "tables"


@cache
def table_of(key: str) -> dict[str, Any]:
    """The offline table of a built-in wiring. It must not be modified, since all tests share it."""
    table: dict[str, Any] = json.loads(gzip.decompress(Tables(tables_folder()).packed(key, BUILTIN[key])))
    return table


def _copied_with_cast(url: str) -> dict[Role, str]:
    """Make the database as a copy of one with a program; returns the token of each role."""
    if is_sqlite(url):
        shutil.copy(made_once("cast.db", _make_cast_file), str(make_url(url).database))
        return _cast_tokens()
    copied(url, "cast", lambda to: _CASTS.update({_server(to): _add_cast(to)}))
    return _CASTS[_server(url)]


def _add_cast(url: str) -> dict[Role, str]:
    migrated(url)
    with closing(Store(url)) as store:
        with store.writing() as db:
            actions.found_program(db, "Fernhollow Band Program", "America/New_York", START)
            tokens = {role: actions.make_token(db, role.value.title(), role, START) for role in list(Role)[1:]}
        keep_house(store, START, CHORES)  # once, instead of in each test that opens a list
    return tokens


_CASTS: dict[object, dict[Role, str]] = {}
"""The tokens of the programs that are copied, by database server."""


def _server(url: str) -> object:
    return make_url(url).query["host"]


def _make_cast_file(path: Path) -> None:
    tokens = _add_cast(f"sqlite:///{path}")
    (made_folder() / TOKENS).write_text(json.dumps(tokens))
    in_one_file(path)


@cache
def _cast_tokens() -> dict[Role, str]:
    return {Role(role): token for role, token in json.loads((made_folder() / TOKENS).read_text()).items()}


def _make_migrated_file(path: Path) -> None:
    migrate.upgrade(f"sqlite:///{path}")
    in_one_file(path)
