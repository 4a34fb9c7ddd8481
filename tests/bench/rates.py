"""Requests a second with 16 clients at once: `.venv/bin/python -m tests.bench.rates [--seconds S]`.

Starts the real service (one worker, SQLite) over the demo's program, and beside it a bare FastAPI route, both on
loopback; 16 clients with keep-alive ask one after the other. What counts is the ratio to the bare route of the same
run: requests a second differ from machine to machine and from minute to minute. The bare route is measured before
and after, and its two rates are printed, so that a run on a busy machine shows. What a POST costs is judged by one
that is only validated.
"""

import argparse
from collections.abc import Iterator
from itertools import cycle, repeat

from tests.bench.load import Rate, measure, request
from tests.bench.running import BARE, ask, free_port, passed, program, running, serving

MOST = 20_000


def main() -> None:
    """Measure, and print a table."""
    parser = argparse.ArgumentParser(description="Measure the hot paths against a bare route.")
    parser.add_argument("--seconds", type=float, default=5.0, help="how long each path is measured")
    seconds = parser.parse_args().seconds
    with program("demo", role="crew") as (env, token):
        port, bare_port = free_port(), free_port()
        with serving(port, env), running([*BARE, "--port", str(bare_port)], bare_port, env):
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


if __name__ == "__main__":
    main()
