"""A test evening, and phones that never wait: `.venv/bin/python -m tests.bench.evening [--seconds S] [--sqlite]`.

Thirty phones log a test every ten seconds each, while five leads go from page to page, Now and the pull list among
them, with two seconds to read each; everybody also asks a bare FastAPI route each time, which so stands under the same
load. Then 16 clients post tests as fast as they can. The demo's program, on SQLite with one worker and on PostgreSQL
with two. Printed are the times of the answers as multiples of the bare route's in the same run, with the goal beside.
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
from itertools import count, cycle, repeat
from pathlib import Path

from service.crew.actions import make_token
from service.crew.core import Role
from service.store.sessions import Store
from tests.bench.load import measure, read, request
from tests.bench.running import BARE, ask, coilbook, free_port, passed, rest, running, serving
from tests.support.postgres import running_cluster

PHONES, EVERY = 30, 10.0
LEADS, READS = 5, 2.0
MOST = 20_000
"""Requests at most, where clients post as fast as they can."""
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


BARE_PAGE = request("GET", "/")
GOALS = {
    "p95 of all, x the bare route's": 12.0,
    "p99 of a test, x the bare route's p95": 40.0,
    "refused": 0.0,
    "memory of the largest worker, MB": 200.0,
    "16 posting: x only validated": 0.2,
    "16 posting: p99, x the bare median": 25.0,
}
"""At most, but for the rate of posting, which is to be at least that."""


def main() -> None:
    """Spend the evenings, and print how they went."""
    parser = argparse.ArgumentParser(description="Thirty phones and five leads at once, then 16 that never wait.")
    parser.add_argument("--seconds", type=float, default=60.0, help="how long the evening is")
    parser.add_argument("--sqlite", action="store_true", help="only SQLite with one worker")
    options = parser.parse_args()
    found = {"SQLite, one worker": on_sqlite(options.seconds)}
    if not options.sqlite:
        found["PostgreSQL, two workers"] = on_postgres(options.seconds)
    print(" " * 40 + "".join(f"{name:>26}" for name in found) + f"{'goal':>8}")
    for name, goal in GOALS.items():
        print(f"{name:40}" + "".join(f"{figures[name]:26.2f}" for figures in found.values()) + f"{goal:8g}")


def on_sqlite(seconds: float) -> dict[str, float]:
    """The figures of one worker on SQLite."""
    with tempfile.TemporaryDirectory() as folder:
        return figures(f"sqlite:///{folder}/bench.db", 1, seconds)


def on_postgres(seconds: float) -> dict[str, float]:
    """The figures of two workers on PostgreSQL."""
    with running_cluster(fsync=True) as cluster, cluster.fresh_database() as name:
        return figures(cluster.url(name), 2, seconds)


def figures(url: str, workers: int, seconds: float) -> dict[str, float]:
    """The evening, and what comes after it, over a new database."""
    env = os.environ | {"COILBOOK_DATABASE_URL": url}
    coilbook(env, "demo")
    tokens = signed_in(url)
    port, bare_port = free_port(), free_port()
    with running([*BARE, "--port", str(bare_port)], bare_port, env):
        with serving(port, env, workers=workers) as process:
            come_to_rest(process)
            found = spend(port, bare_port, process, tokens, seconds)
        with serving(port, env | {"COILBOOK_LIMITS": "off"}, workers=workers) as process:
            come_to_rest(process)
            return found | posted(port, bare_port, tokens[0], seconds / 6)


def signed_in(url: str) -> list[str]:
    """A token for each phone, then one for each lead."""
    store = Store(url)
    roles = [Role.CREW] * PHONES + [Role.LEAD] * LEADS
    with store.writing() as db:
        tokens = [make_token(db, f"{role} {at}", role, datetime.now(UTC)) for at, role in enumerate(roles)]
    store.close()
    return tokens


def spend(port: int, bare_port: int, process: int, tokens: list[str], seconds: float) -> dict[str, float]:
    """The evening with the service `process` on `port`, in figures."""
    codes = cables(port, tokens[0])
    event = ask(f"http://127.0.0.1:{port}/api/v1/pull", tokens[0])["event"]["id"]
    took: dict[str, list[float]] = defaultdict(list)
    refused: list[bytes] = []
    begun = time.perf_counter()

    def person(name: str, every: float, offset: float, requests: Iterator[bytes]) -> None:
        for turn in count():
            at = begun + offset + turn * every
            if at > begun + seconds:
                return
            time.sleep(max(0.0, at - time.perf_counter()))
            for asked, of, whom in ((BARE_PAGE, "bare", bare_port), (next(requests), name, port)):
                lasted, answer = answered(whom, asked)
                took[of].append(lasted)
                if answer[9:10] not in (b"2", b"3"):
                    refused.append(answer[:300])

    people = [
        threading.Thread(target=person, args=("a test", EVERY, number * EVERY / PHONES, tests_of(codes, token, number)))
        for number, token in enumerate(tokens[:PHONES])
    ] + [
        threading.Thread(
            target=person, args=("a page", READS, number * READS / LEADS, pages_of(codes, event, token, number))
        )
        for number, token in enumerate(tokens[PHONES:])
    ]
    for one in people:
        one.start()
    for one in people:
        one.join()
    if refused:
        print(f"refused, the first: {refused[0]!r}")
    most = max(memory(each) for each in (process, *workers_of(process)))
    return dict(zip(GOALS, (*multiples(took), len(refused), most), strict=False))


def tests_of(codes: list[str], token: str, number: int) -> Iterator[bytes]:
    """What a phone sends: a test of each cable in turn."""
    mine = cycle(codes[number % len(codes) :] + codes[: number % len(codes)])
    return (request("POST", "/api/v1/tests", token, passed(code)) for code in mine)


def pages_of(codes: list[str], event: str, token: str, number: int) -> Iterator[bytes]:
    """What a lead asks for: each page in turn."""
    named = {"code": codes[number], "event": event}
    return (request("GET", path.format_map(named), token) for path in cycle(PAGES[number:] + PAGES[:number]))


def multiples(took: dict[str, list[float]]) -> tuple[float, float]:
    """The slowest twentieth of all, and the slowest hundredth of tests, as multiples of the bare route's twentieth."""
    for name, times in took.items():
        print(f"{name:8} {len(times):6} answers, {told(times)}")
    bare = part(took["bare"], 95)
    return part([*took["a test"], *took["a page"]], 95) / bare, part(took["a test"], 99) / bare


def answered(port: int, asked: bytes) -> tuple[float, bytes]:
    """How long a request took, and its answer; over a connection of its own, since the service closes one that is idle
    for so long.
    """
    sent = time.perf_counter()
    with socket.create_connection(("127.0.0.1", port)) as connection:
        connection.sendall(asked)
        answer = read(connection)
    return time.perf_counter() - sent, answer


def posted(port: int, bare_port: int, token: str, seconds: float) -> dict[str, float]:
    """16 clients that post as fast as they can, beside the two bare routes."""
    codes = cables(port, token)

    def tests() -> Iterator[bytes]:
        return tests_of(codes, token, 0)

    bare = measure(bare_port, lambda: repeat(BARE_PAGE), 200, seconds, MOST)
    kept = measure(port, tests, 201, seconds, MOST)
    validated = measure(bare_port, tests, 201, seconds, MOST)
    values = kept.per_second / validated.per_second, kept.p99_ms / bare.p50_ms
    return dict(zip(list(GOALS)[-2:], values, strict=True))


def cables(port: int, token: str) -> list[str]:
    """The codes of the cables that are tested."""
    url = f"http://127.0.0.1:{port}/api/v1/items?kind=cable&state=in_service&limit=200"
    return [item["code"] for item in ask(url, token)["items"] if item["wiring"] == "xlr3"]


def told(times: list[float]) -> str:
    """The median, the slowest twentieth and hundredth of some times."""
    p50, p95, p99 = (1000 * part(times, percent) for percent in (50, 95, 99))
    return f"p50 {p50:.0f} ms, p95 {p95:.0f} ms, p99 {p99:.0f} ms"


def part(times: list[float], percent: int) -> float:
    """The time that so many percent of these stay below."""
    return sorted(times)[min(len(times) - 1, len(times) * percent // 100)]


def come_to_rest(process: int) -> None:
    """Wait until neither a service nor its workers have anything to do."""
    for each in (process, *workers_of(process)):
        rest(each)


def workers_of(process: int) -> list[int]:
    """The processes that a process started, without those that have ended."""
    started = Path(f"/proc/{process}/task/{process}/children").read_text().split()
    return [int(each) for each in started if "VmHWM:" in Path(f"/proc/{each}/status").read_text()]


def memory(process: int) -> int:
    """The most memory that a process ever had, in megabytes."""
    status = Path(f"/proc/{process}/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) // 1000


if __name__ == "__main__":
    main()
