"""What each page costs: `.venv/bin/python -m tests.bench [--demo] [--before FOLDER]`.

Processor time of the service for one request at a time, as multiples of a bare FastAPI route's in the same run, with
the goal beside each: over the demo's program, and over 2,000 items with 40,000 tests. Processor time and not the
clock's, since a busy machine makes everything wait. `--before` names another checkout, whose service is measured in
the same run; it is run by this checkout's Python. Linux only. Requests a second are `tests.bench.rates`.
"""

import argparse
import os
import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable
from contextlib import closing
from dataclasses import dataclass
from itertools import cycle, repeat
from pathlib import Path
from socket import create_connection
from statistics import median

from tests.bench.evening import memory
from tests.bench.load import read, request
from tests.bench.running import BARE, ROOT, ask, coilbook, free_port, passed, rest, running, serving, spent

PROGRAMS = {
    "demo": ("demo",),
    "2,000 items": ("fill", "--items", "2000", "--tests", "40000", "--rng", "1"),
}
MEMORY, START = "memory after all of it, MB", "start to first page, x imports"
GOALS = {
    "tag page, each tag first": (16, 20),
    "test logged, one client": (30, 36),
    "due page": (32, 50),
    "Now, lead": (45, 60),
    "pull list, nothing new": (24, 50),
    "pull list, after a test": (60, 90),
    "wear": (200, 400),
    "spares": (200, 400),
    "buying": (200, 400),
    MEMORY: (170, 180),
    START: (1.4, None),
}
"""What each may take, for the demo and for the larger program; None where nothing is asked."""
FRAMEWORKS = "import fastapi, sqlalchemy, pydantic, jinja2, uvicorn"
TAGS, OFTEN, SOME, FEW, STARTS = 150, 40, 10, 3, 3

Measured = dict[str, float]


@dataclass(frozen=True)
class Client:
    """One client of a service: the port, and the number of the process whose time counts."""

    port: int
    process: int

    def cost(
        self, requests: Iterable[bytes], wanted: bytes = b"2", between: Callable[[], bytes] | None = None
    ) -> float:
        """The median of what the requests cost, in seconds of processor time; `between` makes one that is sent before
        each and not counted.

        Raises:
            RuntimeError: an answer had a status that does not begin with `wanted`.
        """
        costs = []
        with closing(create_connection(("127.0.0.1", self.port))) as connection:
            for asked in requests:
                for each, is_counted in ((between() if between else None, False), (asked, True)):
                    if each is None:
                        continue
                    begun = spent(self.process)
                    connection.sendall(each)
                    answer = read(connection)
                    if answer[9:10] != wanted:
                        raise RuntimeError(f"{each[:60]!r}: {answer[:300]!r}")
                    if is_counted:
                        costs.append(spent(self.process) - begun)
        return median(costs)


def main() -> None:
    """Measure, and print the table."""
    parser = argparse.ArgumentParser(description="Measure what each page costs, in multiples of a bare route.")
    parser.add_argument("--demo", action="store_true", help="only the demo's program")
    parser.add_argument("--before", type=Path, help="another checkout, measured in the same run")
    options = parser.parse_args()
    trees = {"before": options.before.resolve(), "after": ROOT} if options.before else {"": ROOT}
    found: dict[tuple[str, str], Measured] = {}
    for name in list(PROGRAMS)[: 1 if options.demo else None]:
        for when, tree in trees.items():
            found[name, when] = costs(PROGRAMS[name], tree, is_demo=name == "demo")
    print_table(found)


def print_table(found: dict[tuple[str, str], Measured]) -> None:
    """A line for each path; a column for each program, and its goal."""
    columns = list(dict.fromkeys(name for name, _ in found))
    print(" " * 32 + "".join(f"{f'{name} {when}'.strip():>20}" for name, when in found), *columns, sep="  goal ")
    for path, goals in GOALS.items():
        figures = "".join(f"{shown(measured.get(path)):>20}" for measured in found.values())
        goal = "".join(f"{shown(goal):>18}" for goal, _ in zip(goals, columns, strict=False))
        print(f"{path:32}{figures}{goal}")


def shown(figure: float | None) -> str:
    """A figure with two digits or more."""
    return "-" if figure is None else f"{figure:.1f}" if figure < 10 else f"{figure:.0f}"


def costs(made_by: tuple[str, ...], tree: Path, *, is_demo: bool) -> Measured:
    """What each path costs over a program that this command makes."""
    with tempfile.TemporaryDirectory() as folder:
        env = os.environ | {"COILBOOK_DATABASE_URL": f"sqlite:///{folder}/bench.db", "COILBOOK_LIMITS": "off"}
        for words in (made_by, ("housekeeping",)):
            coilbook(env, *words, tree=tree)
        crew, lead = (
            coilbook(env, "token", "create", role, "--role", role, tree=tree).splitlines()[-1]
            for role in ("crew", "lead")
        )
        port, bare_port = free_port(), free_port()
        with (
            serving(port, env, tree) as process,
            running([*BARE, "--port", str(bare_port)], bare_port, env) as yardstick,
        ):
            rest(process)
            found = pages(Client(port, process), Client(bare_port, yardstick), crew, lead)
            found[MEMORY] = memory(process)
        if is_demo:
            found[START] = start(env, tree)
        return found


def pages(service: Client, bare: Client, crew: str, lead: str) -> Measured:
    """Each path in multiples of the bare route, which is measured again beside each."""
    url = f"http://127.0.0.1:{service.port}"
    cables = ask(f"{url}/api/v1/items?kind=cable&state=in_service&limit=200", crew)["items"]
    codes = [item["code"] for item in cables if item["wiring"] == "xlr3"]
    event = ask(f"{url}/api/v1/pull", crew)["event"]["id"]
    turn = cycle(codes)

    def a_test() -> bytes:
        return request("POST", "/api/v1/tests", crew, passed(next(turn)))

    def get(path: str, times: int, token: str = crew) -> list[bytes]:
        return list(repeat(request("GET", path, token), times))

    def one() -> float:
        return bare.cost(get("/", 200))

    def warmed(asked: list[bytes], between: Callable[[], bytes] | None = None) -> float:
        service.cost(asked[:1], between=between)
        before = one()
        cost = service.cost(asked, between=between)
        return cost / ((before + one()) / 2)

    every_tag = [request("GET", f"/t/{item['code']}", crew) for item in cables[: TAGS + 1]]
    service.cost(every_tag[:1])
    return {
        "tag page, each tag first": service.cost(every_tag[1:]) / one(),
        "due page": warmed(get("/due", OFTEN)),
        "Now, lead": warmed(get("/", SOME, lead)),
        "pull list, nothing new": warmed(get(f"/pull/{event}", SOME)),
        "pull list, after a test": warmed(get(f"/pull/{event}", SOME), between=a_test),
        "test logged, one client": warmed([a_test() for _ in range(OFTEN)]),
        **{name: warmed(get(f"/{name}", FEW, lead)) for name in ("wear", "spares", "buying")},
    }


def start(env: dict[str, str], tree: Path) -> float:
    """The processor time of a start, up to the first page, in multiples of the import of the frameworks."""
    starts, imports = [], []
    for _ in range(STARTS):
        begun = children()
        subprocess.run([sys.executable, "-c", FRAMEWORKS], cwd=tree, env=env, check=True)
        imports.append(children() - begun)
        port = free_port()
        with serving(port, env, tree) as process:
            Client(port, process).cost([request("GET", "/sign-in")])
            starts.append(spent(process))
    return median(starts) / median(imports)


def children() -> float:
    """The processor time of all processes that we started and that have ended, in seconds."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


if __name__ == "__main__":
    main()
