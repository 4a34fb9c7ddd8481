"""The clock: once an hour it does what nobody has to ask for, housekeeping first.

It runs as a process of its own (`coilbook clock`), inside a service with one worker, or as a single turn that a
timer of the system starts (`coilbook housekeeping`). They may all run at once, on several hosts: a lease lets one of
them through, and the others go away. A turn that was missed is made up for by the next one.
"""

import logging
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.schedulers.base import BaseScheduler
from apscheduler.schedulers.blocking import BlockingScheduler
from apscheduler.triggers.cron import CronTrigger

from service.chores import CHORES
from service.kit.problems import Problem
from service.schedule.reminders.actions import send_due
from service.settings import Settings
from service.store.lease import leased
from service.store.sessions import Store
from service.testlog.housekeeping import keep_house

LEASE = "housekeeping"
LOG = logging.getLogger("coilbook")


def now() -> datetime:
    """The present moment."""
    return datetime.now(UTC)


def turn(store: Store, settings: Settings, at: Callable[[], datetime] = now) -> str:
    """Do what the hour asks for, unless another process is at it; what to say about it."""
    with leased(store, LEASE, at) as renew:
        if renew is None:
            return "Another process keeps house right now, so there was nothing to do here."
        report = keep_house(store, at(), CHORES, before_each=renew)
        if settings.mail is not None and renew():
            report += " " + send_due(store, settings.mail, settings.base_url or "", at()).capitalize()
        return report


def run(store: Store, settings: Settings) -> None:
    """Be the clock until stopped: a turn at once, and one at every full hour."""
    logging.basicConfig(format="%(asctime)s %(message)s")
    LOG.setLevel(logging.INFO)
    scheduler = BlockingScheduler(timezone=UTC)
    _by_the_hour(scheduler, store, settings)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    try:
        scheduler.start()
    except (SystemExit, KeyboardInterrupt):
        scheduler.shutdown()  # a turn that has begun is finished first


@contextmanager
def running(store: Store, settings: Settings) -> Iterator[None]:
    """The clock in threads of its own while the block runs."""
    scheduler = BackgroundScheduler(timezone=UTC)
    _by_the_hour(scheduler, store, settings)
    scheduler.start()
    try:
        yield
    finally:
        scheduler.shutdown()


def _by_the_hour(scheduler: BaseScheduler, store: Store, settings: Settings) -> None:
    def tick() -> None:
        try:
            LOG.info("%s", turn(store, settings))
        except Problem as problem:
            LOG.warning("%s The next turn catches up.", problem.detail)

    # A turn that is late, or still running when the next is due, is one turn and never dropped.
    scheduler.add_job(
        tick,
        CronTrigger(minute=0, timezone=UTC),
        next_run_time=now(),
        coalesce=True,
        max_instances=1,
        misfire_grace_time=None,
    )
