"""What a flood of sign-ins costs the tests: `.venv/bin/python -m tests.bench.sign_ins [--seconds S]`.

One worker, SQLite, the demo's program. Four phones log tests one after the other, alone and beside eight that sign in
by wrong passphrases without a pause, first without limits, so that each of them is hashed, then with them, so that
nearly all are refused. Printed are the median times of a test as multiples of what it is alone in the same run; the
target is twice at the most. Alone and beside the flood take turns, so that a busy machine shows in both.
"""

import argparse
import os
import socket
import statistics
import tempfile
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from itertools import count, cycle
from urllib.parse import urlencode

from service.crew.actions import make_token
from service.crew.core import Role
from service.store.sessions import Store
from tests.bench.load import measure, read, request
from tests.bench.running import ask, coilbook, free_port, passed, serving

PHONES = 4
TOKENS = 150
FLOODS = 8
TURNS = 3
MOST = 20_000


def main() -> None:
    """Measure, and print the multiples."""
    parser = argparse.ArgumentParser(description="The time of a test beside a flood of sign-ins.")
    parser.add_argument("--seconds", type=float, default=4.0, help="how long each part is measured")
    seconds = parser.parse_args().seconds
    for limits in ("off", "on"):
        with tempfile.TemporaryDirectory() as folder:
            url = {"COILBOOK_DATABASE_URL": f"sqlite:///{folder}/bench.db"}
            env = os.environ | url | ({"COILBOOK_LIMITS": "off"} if limits == "off" else {})
            coilbook(env, "demo")
            print(f"limits {limits}: {told(env, seconds)}")


def told(env: dict[str, str], seconds: float) -> str:
    """The medians of all turns, in words."""
    port = free_port()
    tokens = signed_in(env["COILBOOK_DATABASE_URL"])
    with serving(port, env):
        alone, beside, answers = [], [], Counter[str]()
        items = ask(f"http://127.0.0.1:{port}/api/v1/items?kind=cable&state=in_service&limit=200", tokens[0])["items"]
        codes = [item["code"] for item in items if item["wiring"] == "xlr3"]
        for _ in range(TURNS):
            alone.append(median(port, codes, tokens, seconds))
            with flooded(port, answers):
                beside.append(median(port, codes, tokens, seconds))
    one, other = statistics.median(alone), statistics.median(beside)
    return f"a test takes {one:.1f} ms alone, {other:.1f} ms beside the flood, {other / one:.2f} times; {dict(answers)}"


def signed_in(url: str) -> list[str]:
    """Tokens of as many of the crew as send so many tests within their limits."""
    store, now = Store(url), datetime.now(UTC)
    with store.writing() as db:
        tokens = [make_token(db, f"Phone {number}", Role.CREW, now) for number in range(TOKENS)]
    store.close()
    return tokens


def median(port: int, codes: list[str], tokens: list[str], seconds: float) -> float:
    """The median time of a test, in milliseconds."""

    def tests() -> Iterator[bytes]:
        each = zip(cycle(tokens), cycle(codes), strict=False)
        return (request("POST", "/api/v1/tests", token, passed(code)) for token, code in each)

    return measure(port, tests, 201, seconds, MOST, PHONES).p50_ms


@contextmanager
def flooded(port: int, answers: Counter[str]) -> Iterator[None]:
    """Eight that sign in without a pause, each under names of its own; what they are answered is counted."""
    over = threading.Event()

    def flood(number: int) -> None:
        with socket.create_connection(("127.0.0.1", port)) as connection:
            for turn in count():
                if over.is_set():
                    return
                body = urlencode({"name": f"Nobody {number} {turn}", "passphrase": "not this one"}).encode()
                head = "POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\nOrigin: http://127.0.0.1\r\n"
                head += f"Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {len(body)}\r\n\r\n"
                connection.sendall(head.encode() + body)
                answers[read(connection)[9:12].decode()] += 1

    threads = [threading.Thread(target=flood, args=(number,)) for number in range(FLOODS)]
    for thread in threads:
        thread.start()
    try:
        yield
    finally:
        over.set()
        for thread in threads:
            thread.join()


if __name__ == "__main__":
    main()
