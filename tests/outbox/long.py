"""Twenty rounds of two hundred tests on three phones: `python -m tests.outbox.long [rounds] [tests]`."""

import sys
import time
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from tests.outbox.rounds import a_round
from tests.outbox.support import truck
from tests.support.chromium import chromium


def main(rounds: int = 20, tests: int = 200) -> None:
    """Print what each round came to; the first that loses or doubles a test ends the run."""
    with TemporaryDirectory() as folder, chromium() as browser:
        for number in range(1, rounds + 1):
            with truck(f"sqlite:///{Path(folder) / f'{number}.db'}", "xlr3") as at:
                began = time.monotonic()
                kills = a_round(at, browser, tests, 3, Random(number))
                spent = time.monotonic() - began
                print(
                    f"round {number}: {tests} tests, {kills} kills, 0 lost, 0 doubled, {spent:.0f} s",
                    flush=True,
                )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
