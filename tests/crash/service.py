"""The real service as a process of its own, over a program with gear, to be killed and started again."""

import os
import signal
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from uuid import uuid4

from service.chores import CHORES
from service.crew import actions
from service.crew.core import Role
from service.gear.actions import NewItem, add_items
from service.store.sessions import Store
from service.tags.actions import issue
from service.testers.tables import Tables, in_use
from service.testlog.housekeeping import keep_house
from tests.support.forked import ForkedPython
from tests.support.program import migrated, tables_folder
from tests.support.waiting import PATIENCE

ROOT = Path(__file__).parents[2]
ITEMS = 120


@dataclass(frozen=True)
class Program:
    """A database with a program in it: the codes of its items, and a token of its crew."""

    url: str
    codes: list[str]
    token: str


def prepared(url: str) -> Program:
    """A new program at `url`, with items to test."""
    migrated(url)
    now = datetime.now(UTC)
    store = Store(url)
    with store.writing() as db:
        actions.found_program(db, "Fernhollow Band Program", "America/New_York", now)
        token = actions.make_token(db, "Crew", Role.LEAD, now)
        ids = [uuid4() for _ in range(ITEMS)]
        add_items(db, NewItem("cable", "xlr3", 3048), ids, None, now, now.date())
        codes = issue(db, ids, now)
    keep_house(store, now, CHORES)  # several workers have no clock beside them
    with store.reading() as db:  # once for all tests; else a process of each start begins with them, until it is killed
        for key, wiring in in_use(db):
            Tables(tables_folder()).packed(key, wiring)
    store.close()
    return Program(url, codes, token)


class Service:
    """The service's process. `variant` is one of `tests.crash.variants` in place of the service as it is."""

    def __init__(self, program: Program, variant: str = "", workers: int = 1) -> None:
        self.program = program
        self.port = _free_port()
        module = ["tests.crash.variants", variant] if variant else ["service"]
        self._words = ["-m", *module, "serve", "--port", str(self.port), "--workers", str(workers)]
        own = {"COILBOOK_DATABASE_URL": program.url, "COILBOOK_TABLES": str(tables_folder())}
        self._environment = os.environ | own | {"COILBOOK_LIMITS": "off"}
        self._process: ForkedPython | None = None

    @property
    def process(self) -> ForkedPython:
        assert self._process is not None, "the service was not started"
        return self._process

    def start(self) -> float:
        """Start it, and wait until it answers; how many seconds that took."""
        began = time.monotonic()
        self._process = ForkedPython(*self._words, environ=self._environment)
        while not self._answers():
            assert time.monotonic() - began < PATIENCE, "the service did not start"
        return time.monotonic() - began

    def kill(self) -> None:
        """Kill it as a crash would, its workers too."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def terminate(self, within: float = 10.0) -> None:
        """Ask it to stop; it has to within `within` seconds."""
        self.process.send_signal(signal.SIGTERM)
        self.process.wait(within)

    def connection(self, timeout: float = 15.0) -> HTTPConnection:
        """A connection to it."""
        return HTTPConnection("127.0.0.1", self.port, timeout=timeout)

    def _answers(self) -> bool:
        try:
            status = self.process.wait(0.02)  # the pause between two tries
        except TimeoutError:
            pass
        else:
            raise AssertionError(f"the service ended with status {status}")
        connection = self.connection(5)
        try:
            connection.request("GET", "/healthz")
            return connection.getresponse().status == 200
        except (OSError, HTTPException):
            return False
        finally:
            connection.close()


@contextmanager
def running(program: Program, variant: str = "", workers: int = 1) -> Iterator[Service]:
    """A started service, killed at the end if it still runs."""
    service = Service(program, variant, workers)
    service.start()
    try:
        yield service
    finally:
        if service.process.poll() is None:
            service.kill()


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port: int = one.getsockname()[1]
        return port
