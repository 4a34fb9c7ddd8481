"""The service in a process of its own, over a program made for measuring it."""

import json
import os
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any
from uuid import uuid4

ROOT = Path(__file__).parents[2]
STARTS_WITHIN = 60.0
QUIET, QUIET_WITHIN = 0.02, 300.0
"""Of a second, what a service takes that has nothing to do; and so many seconds it gets to come to rest."""
BARE = ("-m", "uvicorn", "tests.bench.bare:app", "--log-level", "warning")
"""Serves the yardsticks of `tests.bench.bare`, once a port is added."""


def passed(code: str) -> bytes:
    """A test that passes, as the API takes it."""
    joined = [["A1", "B1"], ["A2", "B2"], ["A3", "B3"]]
    told = {"id": str(uuid4()), "item": code, "method": "two_ended", "joined": joined, "probed": "all"}
    return json.dumps(told).encode()


def ask(url: str, token: str) -> dict[str, Any]:
    """One answer of the API."""
    asked = urllib.request.Request(url, headers={"Authorization": f"Bearer {token}"})
    with urllib.request.urlopen(asked, timeout=30) as answer:
        found: dict[str, Any] = json.load(answer)
    return found


@contextmanager
def program(*made_by: str, role: str) -> Iterator[tuple[dict[str, str], str]]:
    """The surroundings of a program made by this command, without limits, and a token of this role."""
    with tempfile.TemporaryDirectory() as folder:
        env = os.environ | {"COILBOOK_DATABASE_URL": f"sqlite:///{folder}/bench.db", "COILBOOK_LIMITS": "off"}
        coilbook(env, *made_by)
        yield env, coilbook(env, "token", "create", "Bench", "--role", role).splitlines()[-1]


def coilbook(env: dict[str, str], *words: str, tree: Path = ROOT) -> str:
    """What a command of ours prints."""
    command = [sys.executable, "-m", "service", *words]
    return subprocess.run(command, cwd=tree, env=env, capture_output=True, text=True, check=True).stdout


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


def serving(port: int, env: dict[str, str], tree: Path = ROOT, workers: int = 1) -> AbstractContextManager[int]:
    """The service of a checkout in a process of its own, from when it listens until the block ends; the process's
    number.
    """
    return running(["-m", "service", "serve", "--port", str(port), "--workers", str(workers)], port, env, tree)


@contextmanager
def running(words: list[str], port: int, env: dict[str, str], tree: Path = ROOT) -> Iterator[int]:
    """A server in a process of its own, from when it listens until the block ends; the process's number."""
    server = subprocess.Popen([sys.executable, *words], cwd=tree, env=env, stdout=subprocess.DEVNULL)
    try:
        wait_for(port, server)
        yield server.pid
    finally:
        server.terminate()
        server.wait(60)  # a turn of housekeeping that has begun is finished first


def wait_for(port: int, server: subprocess.Popen[bytes]) -> None:
    """Wait until a server listens.

    Raises:
        RuntimeError: it ended, or did not listen in time.
    """
    until = time.monotonic() + STARTS_WITHIN
    while time.monotonic() < until and server.poll() is None:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    raise RuntimeError(f"the server on port {port} does not listen")


def rest(process: int) -> None:
    """Wait until a service has nothing more to do: a turn of the clock begins with it.

    Raises:
        RuntimeError: it does not come to rest.
    """
    until = time.monotonic() + QUIET_WITHIN
    while True:
        begun = spent(process)
        time.sleep(2)
        if spent(process) - begun < QUIET:
            return
        if time.monotonic() > until:
            raise RuntimeError("the service does not come to rest")


def spent(process: int) -> float:
    """The processor time that a process took so far, in seconds: Linux has a clock for each, numbered by its id."""
    return time.clock_gettime((~process << 3) | 2)
