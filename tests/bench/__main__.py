"""How fast the pages and routes are that everybody waits for: `.venv/bin/python -m tests.bench [--seconds S]`.

Starts the real service (one worker, SQLite) over the demo's program, and beside it a bare FastAPI route, both on
loopback; 16 clients with keep-alive ask one after the other. What counts is the ratio to the bare route of the same
run: requests a second differ from machine to machine and from minute to minute. The bare route is measured before
and after, and its two rates are printed, so that a run on a busy machine shows. What a POST costs is judged by one
that is only validated.
"""

import argparse
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
from itertools import cycle, repeat
from pathlib import Path
from typing import Any
from uuid import uuid4

from tests.bench.load import Rate, measure, request

ROOT = Path(__file__).parents[2]
MOST = 20_000
STARTS_WITHIN = 60.0


def main() -> None:
    """Measure, and print a table."""
    parser = argparse.ArgumentParser(description="Measure the hot paths against a bare route.")
    parser.add_argument("--seconds", type=float, default=5.0, help="how long each path is measured")
    seconds = parser.parse_args().seconds
    with program("demo", role="crew") as (env, token):
        port, bare_port = free_port(), free_port()
        bare = ["-m", "uvicorn", "tests.bench.bare:app", "--port", str(bare_port), "--log-level", "warning"]
        with serving(port, env), running(bare, bare_port, env):
            print_table(*rates(port, bare_port, token, seconds))


def rates(port: int, bare_port: int, token: str, seconds: float) -> tuple[list[Rate], dict[str, Rate]]:
    """The bare route, before and after; and the paths by name."""
    url = f"http://127.0.0.1:{port}"
    cables = ask(f"{url}/api/v1/items?kind=cable&state=in_service&limit=200", token)["items"]
    codes = [item["code"] for item in cables if item["wiring"] == "xlr3"]
    event = ask(f"{url}/api/v1/pull", token)["event"]["id"]

    def pages() -> Iterator[bytes]:
        return cycle([request("GET", f"/t/{code}", token) for code in codes])

    def tests() -> Iterator[bytes]:
        return (request("POST", "/api/v1/tests", token, passed(code)) for code in cycle(codes))

    def bare() -> Iterator[bytes]:
        return repeat(request("GET", "/"))

    def one(path: str) -> Iterator[bytes]:
        return repeat(request("GET", path, token))

    before = measure(bare_port, bare, 200, seconds, MOST)
    found = {
        "tag page, signed in": measure(port, pages, 200, seconds, MOST),
        "due list, JSON": measure(port, lambda: one("/api/v1/due"), 200, seconds, MOST),
        "due list, page": measure(port, lambda: one("/due"), 200, seconds, MOST),
        "pull list, JSON": measure(port, lambda: one("/api/v1/pull"), 200, seconds, MOST),
        "pull list, page": measure(port, lambda: one(f"/pull/{event}"), 200, seconds, MOST),
        "POST a test": measure(port, tests, 201, seconds, MOST),
        "POST, only validated": measure(bare_port, tests, 201, seconds, MOST),
    }
    return [before, measure(bare_port, bare, 200, seconds, MOST)], found


def print_table(bare: list[Rate], found: dict[str, Rate]) -> None:
    """Each path with its ratio to the bare route."""
    yardstick = sum(rate.per_second for rate in bare) / len(bare)
    print(f"{'path':22} {'requests':>8} {'per s':>8} {'ratio':>7} {'p50 ms':>8} {'p99 ms':>8}")
    for name, rate in {"bare route, before": bare[0], **found, "bare route, after": bare[1]}.items():
        ratio = rate.per_second / yardstick
        print(f"{name:22} {rate.count:8} {rate.per_second:8.0f} {ratio:7.3f} {rate.p50_ms:8.1f} {rate.p99_ms:8.1f}")


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


def coilbook(env: dict[str, str], *words: str) -> str:
    """What a command of ours prints."""
    command = [sys.executable, "-m", "service", *words]
    return subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, check=True).stdout


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


def serving(port: int, env: dict[str, str]) -> AbstractContextManager[int]:
    """The service in a process of its own, from when it listens until the block ends; the process's number."""
    return running(["-m", "service", "serve", "--port", str(port)], port, env)


@contextmanager
def running(words: list[str], port: int, env: dict[str, str]) -> Iterator[int]:
    """A server in a process of its own, from when it listens until the block ends; the process's number."""
    server = subprocess.Popen([sys.executable, *words], cwd=ROOT, env=env, stdout=subprocess.DEVNULL)
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


if __name__ == "__main__":
    main()
