"""How long a diagnosis takes, from the raw groups of names: medians and 99th percentiles in microseconds.

Run with `python -m tests.bench.diagnosis`.
"""

import random
import subprocess
import sys
import time
from collections.abc import Callable

from service.diagnosis.diagnosis import diagnose
from service.wiring.builtin import BUILTIN
from service.wiring.wirings import read


def good(key: str) -> list[list[str]]:
    return [[wire.a, wire.b] for wire in BUILTIN[key].conductors]


def two_faults(key: str) -> list[list[str]]:
    """The first pair reversed, the last conductor open."""
    wires = BUILTIN[key].conductors
    one, other = next(iter(BUILTIN[key].pairs.values()))
    far = {one.name: other.b, other.name: one.b}
    return [[wire.a, far.get(wire.name, wire.b)] for wire in wires[:-1]]


def scattered(key: str, groups: int) -> list[list[str]]:
    """Every contact in some group: nothing that a cable would do."""
    chance = random.Random(groups)
    found: list[list[str]] = [[] for _ in range(groups)]
    for contact in BUILTIN[key].all_contacts:
        chance.choice(found).append(contact)
    return found


def measure(name: str, key: str, joined: list[list[str]], times: int) -> None:
    wiring = BUILTIN[key]
    taken = sorted(clock(lambda: diagnose(wiring, read(wiring, joined))) for _ in range(times))
    print(f"{name:34} {key:12} median {taken[times // 2]:9.1f} us   p99 {taken[times * 99 // 100]:9.1f} us")


def clock(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return (time.perf_counter() - start) * 1e6


def lines() -> None:
    """A thousand tests of good trunks through the command, start included."""
    import json

    test = {"wiring": "d25x8", "joined": good("d25x8"), "probed": "all"}
    text = "".join(json.dumps({"id": str(number), **test}) + "\n" for number in range(1000))
    command = [sys.executable, "-m", "service", "diagnose"]
    taken = clock(lambda: subprocess.run(command, input=text, text=True, check=True, capture_output=True))
    print(f"1,000 lines, start included: {taken / 1e6:.2f} s")


if __name__ == "__main__":
    for key in ("xlr3", "d25x8"):
        measure("good", key, good(key), 5000)
        measure("two faults", key, two_faults(key), 500)
    measure("torn off", "d25x8", [], 200)
    measure("everything joined", "d25-to-xlr8", [list(BUILTIN["d25-to-xlr8"].all_contacts)], 200)
    for groups in (2, 5, 20):
        measure(f"scattered over {groups} groups", "d25-to-xlr8", scattered("d25-to-xlr8", groups), 5)
    lines()
