"""A test evening: `.venv/bin/python -m tests.bench.evening [--seconds S]`.

Thirty phones log a test every ten seconds each, while five leads go from page to page with two seconds to read each;
one worker, SQLite, the demo's program. Printed are the times of the answers, what was refused, and the service's
memory. The target: the slowest twentieth under 150 ms, nothing refused, 250 MB at most.
"""

import argparse
import os
import socket
import tempfile
import threading
import time
from collections import defaultdict
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import count, cycle
from pathlib import Path

from service.crew.actions import make_token
from service.crew.core import Role
from service.store.sessions import Store
from tests.bench.load import read, request
from tests.bench.running import ask, coilbook, free_port, passed, serving

PHONES, EVERY = 30, 10.0
LEADS, READS = 5, 2.0
PAGES = (
    "/",
    "/due",
    "/gear",
    "/season",
    "/sessions",
    "/pull/{event}",
    "/t/{code}",
    "/tests",
    "/gear/{code}",
    "/tags",
)


def main() -> None:
    """Spend the evening, and print how it went."""
    parser = argparse.ArgumentParser(description="Thirty phones and five leads at once.")
    parser.add_argument("--seconds", type=float, default=60.0, help="how long the evening is")
    seconds = parser.parse_args().seconds
    with tempfile.TemporaryDirectory() as folder:
        env = os.environ | {"COILBOOK_DATABASE_URL": f"sqlite:///{folder}/bench.db"}
        coilbook(env, "demo")
        tokens = signed_in(env["COILBOOK_DATABASE_URL"])
        port = free_port()
        with serving(port, env) as process:
            spend(port, process, tokens, seconds)


def signed_in(url: str) -> list[str]:
    """A token for each phone, then one for each lead."""
    store = Store(url)
    roles = [Role.CREW] * PHONES + [Role.LEAD] * LEADS
    with store.writing() as db:
        tokens = [make_token(db, f"{role} {at}", role, datetime.now(UTC)) for at, role in enumerate(roles)]
    store.close()
    return tokens


def spend(port: int, process: int, tokens: list[str], seconds: float) -> None:
    """The evening with the service `process` on `port`."""
    url = f"http://127.0.0.1:{port}"
    items = ask(f"{url}/api/v1/items?kind=cable&state=in_service&limit=200", tokens[0])["items"]
    codes = [item["code"] for item in items if item["wiring"] == "xlr3"]
    event = ask(f"{url}/api/v1/pull", tokens[0])["event"]["id"]
    took: dict[str, list[float]] = defaultdict(list)
    refused: list[bytes] = []
    begun = time.perf_counter()

    def person(name: str, every: float, offset: float, requests: Iterator[bytes]) -> None:
        for turn in count():
            at = begun + offset + turn * every
            if at > begun + seconds:
                return
            time.sleep(max(0.0, at - time.perf_counter()))
            sent = time.perf_counter()
            # A connection of its own each time: the service closes one that is idle for so long.
            with socket.create_connection(("127.0.0.1", port)) as connection:
                connection.sendall(next(requests))
                answer = read(connection)
            took[name].append(time.perf_counter() - sent)
            if answer[9:10] not in (b"2", b"3"):
                refused.append(answer[:300])

    def tests(token: str, number: int) -> Iterator[bytes]:
        mine = cycle(codes[number % len(codes) :] + codes[: number % len(codes)])
        return (request("POST", "/api/v1/tests", token, passed(code)) for code in mine)

    def pages(token: str, number: int) -> Iterator[bytes]:
        shown = cycle(PAGES[number:] + PAGES[:number])
        named = {"code": codes[number], "event": event}
        return (request("GET", path.format_map(named), token) for path in shown)

    people = [
        threading.Thread(target=person, args=("a test", EVERY, number * EVERY / PHONES, tests(token, number)))
        for number, token in enumerate(tokens[:PHONES])
    ] + [
        threading.Thread(target=person, args=("a page", READS, number * READS / LEADS, pages(token, number)))
        for number, token in enumerate(tokens[PHONES:])
    ]
    for one in people:
        one.start()
    for one in people:
        one.join()
    together = {"all": [each for times in took.values() for each in times]}
    for name, times in (took | together).items():
        print(f"{name:8} {len(times):6} answers, {told(times)}")
    print(f"refused: {len(refused)} {refused[:1] or ''}")
    print(f"memory: {memory(process)} MB")


def told(times: list[float]) -> str:
    """The median, the slowest twentieth and hundredth of some times."""
    ranked = sorted(1000 * each for each in times)
    p50, p95, p99 = (ranked[min(len(ranked) - 1, len(ranked) * part // 100)] for part in (50, 95, 99))
    return f"p50 {p50:.0f} ms, p95 {p95:.0f} ms, p99 {p99:.0f} ms"


def memory(process: int) -> int:
    """The most memory that a process ever had, in megabytes."""
    status = Path(f"/proc/{process}/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) // 1000


if __name__ == "__main__":
    main()
