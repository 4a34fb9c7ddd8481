"""The clock: once an hour it does what nobody has to ask for, housekeeping first.

It runs as a process of its own (`coilbook clock`), inside a service with one worker, or as a single turn that a
timer of the system starts (`coilbook housekeeping`). They may all run at once, on several hosts: a lease lets one of
them through. A single turn waits for its own; the others go away, and the clocks among them come again after some
seconds, so that the work of one that was killed goes on within a minute. A turn that was missed is made up for by the
next one.
"""

import logging
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from threading import Event, Thread

from service.chores import CHORES
from service.kit.problems import Problem
from service.schedule.reminders.actions import send_due
from service.settings import Settings
from service.store.lease import TRIED, hold_lease
from service.store.sessions import Store
from service.testlog.housekeeping import keep_house
from service.testlog.housekeeping_thread import LEASE

ELSEWHERE = "Another process keeps house right now, so there was nothing to do here."
WAITS = timedelta(minutes=10)
"""For so long a single turn waits for another process; it looks again every `LOOKS`."""
LOOKS = timedelta(seconds=2)
WAITING = (
    f"Another process keeps house right now. This turn comes next; it waits {WAITS.seconds // 60} minutes at most."
)
LOG = logging.getLogger("coilbook")
_HOUR, _AFTER_TROUBLE = timedelta(hours=1), timedelta(minutes=1)


def now() -> datetime:
    """The present moment."""
    return datetime.now(UTC)


def turn(
    store: Store,
    settings: Settings,
    at: Callable[[], datetime] = now,
    may_go_on: Callable[[], bool] = lambda: True,
) -> str | None:
    """Do what the hour asks for; what to say about it, None where another process is at it.

    Raises:
        Interrupted: it may not go on.
    """
    with hold_lease(store, LEASE, at) as is_ours:
        if is_ours is None:
            return None
        report = keep_house(store, at(), CHORES, lambda: is_ours() and may_go_on())
        if settings.mail is not None and is_ours() and may_go_on():
            report += " " + send_due(store, settings.mail, settings.base_url or "", at()).capitalize()
        return report


class HouseTaken(Problem):
    """Another process kept house for as long as a single turn waited for it."""


def turn_in_time(
    store: Store,
    settings: Settings,
    say: Callable[[str], object],
    at: Callable[[], datetime] = now,
    wait: Callable[[float], object] = time.sleep,
) -> str:
    """A single turn, once no other process is at one; what to say about it. `say` is told where it waits.

    Raises:
        HouseTaken: the other one did not end.
    """
    until, report = at() + WAITS, turn(store, settings, at)
    if report is None:
        say(WAITING)
    while report is None:
        if at() >= until:
            raise HouseTaken(
                f"Another process has been keeping house for {WAITS.seconds // 60} minutes and more, so nothing was "
                "done here. Look whether it still works; stop it if not, and run coilbook housekeeping once more."
            )
        wait(LOOKS.total_seconds())
        report = turn(store, settings, at)
    return report


def run(store: Store, settings: Settings) -> None:
    """Be the clock until stopped: a turn at once, and one at every full hour."""
    logging.basicConfig(format="%(asctime)s %(message)s")
    LOG.setLevel(logging.INFO)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))  # wherever it is: what is being written is rolled back
    try:
        _go(store, settings, Event())
    except KeyboardInterrupt:
        return


@contextmanager
def running(store: Store, settings: Settings) -> Iterator[None]:
    """The clock in a thread of its own while the block runs."""
    stopped = Event()
    # A daemon: whatever it reckons holds up no stop, and what it writes is whole or not there at all.
    thread = Thread(target=_go, args=(store, settings, stopped), name="clock", daemon=True)
    thread.start()
    try:
        yield
    finally:
        stopped.set()
        thread.join(_STOPS_WITHIN)


_STOPS_WITHIN = 1.0
"""Seconds that a step of housekeeping gets to end by itself."""


def _go(store: Store, settings: Settings, stopped: Event) -> None:
    was_elsewhere = False
    while not stopped.is_set():
        again = next_hour(now())
        try:
            report = turn(store, settings, may_go_on=lambda: not stopped.is_set())
            if report is None:
                again = now() + TRIED
            if report or not was_elsewhere:
                LOG.info("%s", report or ELSEWHERE)
            was_elsewhere = report is None
        except Problem as problem:
            LOG.warning("%s The next turn catches up.", problem.detail)
            again = now() + _AFTER_TROUBLE
        except Exception:  # the clock goes on, whatever broke
            LOG.exception("A turn of housekeeping broke. The next turn catches up.")
        stopped.wait((again - now()).total_seconds())


def next_hour(at: datetime) -> datetime:
    """The next full hour.

    >>> next_hour(datetime(2026, 9, 21, 22, 10, tzinfo=UTC)).isoformat()
    '2026-09-21T23:00:00+00:00'
    """
    return at.replace(minute=0, second=0, microsecond=0) + _HOUR
