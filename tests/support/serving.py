"""The service on a real port, for tests that drive a browser."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime

import uvicorn
from fastapi import FastAPI

from service.app import create_app
from service.crew import actions
from service.crew.core import Role
from service.settings import Settings
from service.store.sessions import Store
from service.web.middleware.slow_requests import SlowRequestProtocol
from tests.support.program import MadeWhenAsked, migrated, tables_folder
from tests.support.waiting import PATIENCE


@dataclass(frozen=True)
class Served:
    """A running service; `base` is its address for browsers, `at` the address on which it listens."""

    base: str
    store: Store
    at: str
    app: FastAPI

    def way_in(self, role: Role, label: str = "") -> str:
        """A link that signs somebody in, like the one in a QR code."""
        with self.store.writing() as db:
            made = actions.make_pass(db, role, label or role.value, None, datetime.now(UTC))
        return f"{self.base}/join#{made.secret}"


class _Server(uvicorn.Server):
    """A server that signals when it listens."""

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.listens = threading.Event()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        self.listens.set()


@contextmanager
def served(url: str, base: str | None = None) -> Iterator[Served]:
    """The service over the database at `url`, with a migrated and named program, on a free port of this computer;
    `base` is its address if it is behind a proxy.
    """
    migrated(url)
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        at = f"127.0.0.1:{listening.getsockname()[1]}"
        base = base or f"http://{at}"
        app = create_app(Settings(database_url=url, base_url=base))
        app.state.tables = MadeWhenAsked(tables_folder())
        store: Store = app.state.store
        with store.writing() as db:
            actions.found_program(db, "Fernhollow Band Program", "America/New_York", datetime.now(UTC))
        server = _Server(uvicorn.Config(app, http=SlowRequestProtocol, log_level="warning"))
        thread = threading.Thread(target=server.run, args=([listening],))
        thread.start()
        try:
            assert server.listens.wait(PATIENCE)
            yield Served(base, store, at, app)
        finally:
            server.should_exit = True
            thread.join(PATIENCE)
