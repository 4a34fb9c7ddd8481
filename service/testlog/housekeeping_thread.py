"""Housekeeping in a background thread of the service."""

import logging
from collections.abc import Sequence
from datetime import datetime
from threading import Event, Lock, Thread

from service.kit.problems import Problem
from service.store.lease import hold_lease
from service.store.sessions import Store
from service.testlog.housekeeping import Chore, keep_house

LEASE = "housekeeping"
LOG = logging.getLogger("coilbook")

TIMEOUT = 0.5
"""Seconds that a page waits for it: enough for a small program."""


class House:
    """The housekeeping of one process, started by the clock and by the first request of a day."""

    def __init__(self, store: Store, chores: Sequence[Chore], timeout: float = TIMEOUT) -> None:
        self.timeout = timeout
        self._store, self._chores = store, chores
        self._stopped = Event()
        self._lock = Lock()
        self._thread: Thread | None = None

    def keep(self, now: datetime) -> None:
        """Start housekeeping unless it is running, and wait for it for at most the timeout."""
        with self._lock:
            thread = self._thread
            if thread is None or not thread.is_alive():
                # A daemon: it does not delay a stop, and each step is a transaction.
                thread = self._thread = Thread(target=self._turn, args=(now,), name="housekeeping", daemon=True)
                thread.start()
        thread.join(self.timeout)

    def close(self, within: float = 1.0) -> None:
        """Begin no further step, and wait at most so many seconds for the current one."""
        self._stopped.set()
        if self._thread is not None:
            self._thread.join(within)

    def _turn(self, now: datetime) -> None:
        try:
            with hold_lease(self._store, LEASE, lambda: now) as is_ours:
                if is_ours is not None:  # else another process has the lease
                    keep_house(self._store, now, self._chores, lambda: is_ours() and not self._stopped.is_set())
        except Problem as problem:
            LOG.warning("%s", problem.detail)
        except Exception:  # nobody joins this thread for its result; the next page or the clock tries again
            LOG.exception("Housekeeping broke.")
