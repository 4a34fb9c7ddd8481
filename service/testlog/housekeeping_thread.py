"""Keeping house beside the requests of a service: in a thread of its own, for which no page waits long."""

import logging
from collections.abc import Sequence
from datetime import datetime
from threading import Event, Lock, Thread

from service.kit.problems import Problem
from service.store.lease import leased
from service.store.sessions import Store
from service.testlog.housekeeping import Chore, keep_house

LEASE = "housekeeping"
LOG = logging.getLogger("coilbook")

TIMEOUT = 0.5
"""Seconds that a page waits for it: as long as a small program takes."""


class House:
    """The house of one process, which the clock and whoever comes first on a day let it keep."""

    def __init__(self, store: Store, chores: Sequence[Chore], timeout: float = TIMEOUT) -> None:
        self.timeout = timeout
        self._store, self._chores = store, chores
        self._stopped = Event()
        self._lock = Lock()
        self._thread: Thread | None = None

    def keep(self, now: datetime) -> None:
        """Let house be kept unless that is being done, and wait for it, but not for long."""
        with self._lock:
            thread = self._thread
            if thread is None or not thread.is_alive():
                # A daemon: whatever it reckons holds up no stop, and what it writes is whole or not there at all.
                thread = self._thread = Thread(target=self._turn, args=(now,), name="housekeeping", daemon=True)
                thread.start()
        thread.join(self.timeout)

    def close(self, within: float = 1.0) -> None:
        """Begin no further step, and wait so many seconds for the one that is being done."""
        self._stopped.set()
        if self._thread is not None:
            self._thread.join(within)

    def _turn(self, now: datetime) -> None:
        try:
            with leased(self._store, LEASE, lambda: now) as is_ours:
                if is_ours is not None:  # else another process does it
                    keep_house(self._store, now, self._chores, lambda: is_ours() and not self._stopped.is_set())
        except Problem as problem:
            LOG.warning("%s", problem.detail)
        except Exception:  # nobody asks this thread; the next page or the next turn tries again
            LOG.exception("Housekeeping broke.")
