"""How long a start takes to the first page, and what a long log costs: `.venv/bin/python -m tests.bench.start`.

`--tests N` fills a program with 2,000 items and N tests first; the start is then that program's. Printed are the
seconds from the start of the process to the first page, and the times of the list pages. Targets: 1.0 s; with 200,000
tests the slowest twentieth under 300 ms.
"""

import argparse
import time
import urllib.request
from itertools import repeat

from tests.bench.evening import told
from tests.bench.running import ask, free_port, program, serving

LISTS = (
    "/",
    "/api/v1/pull",
    "/due",
    "/gear",
    "/gear?q=xlr",
    "/season",
    "/sessions",
    "/api/v1/tests?limit=100",
    "/api/v1/items?limit=100",
    "/api/v1/due?limit=100",
    "/tests",
    "/t/{code}",
    "/gear/{code}",
)
TIMES = 20


def main() -> None:
    """Start it five times, then open every list."""
    parser = argparse.ArgumentParser(description="Measure the start, and lists over a long log.")
    parser.add_argument("--tests", type=int, default=0, help="how many tests there are; 0 is the demo")
    tests = parser.parse_args().tests
    made_by = ("fill", "--items", "2000", "--tests", str(tests), "--rng", "1") if tests else ("demo",)
    with program(*made_by, role="lead") as (env, token):
        port = free_port()
        url = f"http://127.0.0.1:{port}"
        starts = []
        for _ in repeat(None, 5):
            begun = time.perf_counter()
            with serving(port, env):
                urllib.request.urlopen(f"{url}/sign-in", timeout=30).read()
                starts.append(time.perf_counter() - begun)
        print("start to first page:", *(f"{each:.2f} s" for each in starts))
        with serving(port, env):
            code = ask(f"{url}/api/v1/items?limit=1", token)["items"][0]["code"]
            for path in LISTS:
                print(f"{path:28} {told([opened(url + path.replace('{code}', code), token) for _ in range(TIMES)])}")


def opened(url: str, token: str) -> float:
    """Seconds until a page is there."""
    asked = urllib.request.Request(url, headers={"Authorization": f"Bearer {token}", "Accept": "*/*"})
    begun = time.perf_counter()
    with urllib.request.urlopen(asked, timeout=60) as answer:
        answer.read()
    return time.perf_counter() - begun


if __name__ == "__main__":
    main()
