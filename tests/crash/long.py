"""The long crash run: `python -m tests.crash.long [--kills 30] [--acks 10000]`.

Kills the service again and again while phones save, then once more with each of the two wrong services, which have to
be caught. Ends with status 1 where an entry was lost or doubled, the database is broken, no lost answer was ever
repeated (then nothing was tried), or a wrong service passed.

The slowest start is printed too: three seconds at the most is the aim, on a machine with nothing else to do.

Thirty, since the wrong services lost 0.38 and doubled 0.52 entries for each kill in a prototype: so many kills miss
them with odds below 1 in 10,000.
"""

import argparse
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from random import Random

from tests.crash.load import Load, Reckoning, reckoned
from tests.crash.service import prepared, running
from tests.support.postgres import running_cluster


@dataclass(frozen=True)
class Run:
    """What a run came to."""

    kills: int
    slowest_start: float
    suppressed: int
    found: Reckoning


def main() -> int:
    """Run, and say what came of it."""
    parser = argparse.ArgumentParser(description="Kill the service while phones save, and count.")
    parser.add_argument("--kills", type=int, default=30)
    parser.add_argument("--acks", type=int, default=10_000)
    parser.add_argument("--postgres", action="store_true", help="on PostgreSQL, in place of SQLite")
    asked = parser.parse_args()
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        wrong = [
            _told(name, run(f"sqlite:///{Path(folder) / name}.db", name, asked.kills, asked.kills * 100))
            for name in ("late", "forgetful")
        ]
        caught = [bool(wrong[0].found.lost), bool(wrong[1].found.doubled)]
        if asked.postgres:
            with running_cluster(fsync=True) as cluster, cluster.fresh_database() as name:
                right = _told("as it is", run(cluster.url(name), "", asked.kills, asked.acks))
        else:
            right = _told("as it is", run(f"sqlite:///{Path(folder) / 'right'}.db", "", asked.kills, asked.acks))
    found = right.found
    clean = not (found.lost or found.doubled or found.broken) and right.suppressed > 0
    good = clean and all(caught)
    print(f"{'good' if good else 'NOT GOOD'} after {time.monotonic() - began:.0f} s")
    return 0 if good else 1


def run(url: str, variant: str, kills: int, acks: int) -> Run:
    """Kill a service so often while so many entries are acknowledged, a while apart that nobody can foresee."""
    random = Random(7)
    slowest = 0.0
    with running(prepared(url), variant) as service:
        load = Load(service)
        with load.going():
            for _ in range(kills):
                load.wait_for(random.randint(acks // kills // 2, acks * 3 // kills // 2))
                service.kill()
                slowest = max(slowest, service.start())
            load.wait_for(max(1, acks - len(load.acked)))
    return Run(kills, slowest, load.suppressed - load.hung_up, reckoned(load))


def _told(name: str, done: Run) -> Run:
    found = done.found
    print(
        f"{name}: {done.kills} kills, {found.acked} acknowledged, {len(found.lost)} lost, "
        f"{len(found.doubled)} doubled, {done.suppressed} repeated after a kill and suppressed, "
        f"{len(found.broken)} broken, slowest start {done.slowest_start:.1f} s",
        flush=True,
    )
    return done


if __name__ == "__main__":
    sys.exit(main())
