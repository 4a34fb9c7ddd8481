"""Leases: one of several processes does a piece of work at a time.

A row says who holds a lease and until when; as long as its holder lives, it is renewed every few seconds. It is given
back when the work is done; that of a holder which died lapses by itself in less than a minute, so nobody has to clear
up. What is done under a lease must bear being done twice all the same: a holder that was held up for longer than its
lease finds out only when it renews.
"""

import os
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from threading import Event, Thread
from uuid import uuid4

from sqlalchemy import delete
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlalchemy.orm import Mapped, mapped_column

from service.kit.problems import Busy
from service.store.base import Base
from service.store.sessions import Store, locked

LASTS = timedelta(seconds=40)
"""How long it holds without being renewed. Clocks of hosts that differ by more let two do the same work at once."""
RENEWED = timedelta(seconds=10)
"""How often its holder renews it."""
TRIED = timedelta(seconds=10)
"""How often whoever did not get it tries again: with `LASTS`, a killed holder's work goes on within a minute."""


class Lease(Base):
    """A piece of work, who does it, and until when nobody else may."""

    __tablename__ = "lease"

    name: Mapped[str] = mapped_column(primary_key=True)
    holder: Mapped[str]
    until: Mapped[datetime]


@contextmanager
def leased(store: Store, name: str, clock: Callable[[], datetime]) -> Iterator[Callable[[], bool] | None]:
    """Hold a lease while the block runs: gives what tells whether it is still ours, or None where somebody else
    holds it.
    """
    holder = f"{socket.gethostname()}/{os.getpid()}/{uuid4().hex[:8]}"
    if not take(store, name, holder, clock()):
        yield None
        return
    ended, lost = Event(), Event()

    def renew() -> None:
        while not ended.wait(RENEWED.total_seconds()):
            try:
                if not take(store, name, holder, clock()):
                    lost.set()
                    return
            except (Busy, DBAPIError):  # the next time; if it stays so, it lapses
                continue

    Thread(target=renew, name=f"lease of {name}", daemon=True).start()
    try:
        yield lambda: not lost.is_set()
    finally:
        ended.set()
        give_back(store, name, holder)


def take(store: Store, name: str, holder: str, now: datetime) -> bool:
    """Take a lease that is free or lapsed, or renew one's own. Returns whether it is ours.

    Reads first, so that whoever comes second leaves at once, however long the first one writes. One that is dated
    further ahead than a lease lasts was taken by a clock that is wrong: it counts for its length from now.
    """
    if _is_anothers(store, name, holder, now):
        return False
    try:
        with store.writing() as db:
            row = locked(db, Lease, name)
            if row is None:
                db.add(Lease(name=name, holder=holder, until=now + LASTS))
            elif _may_take(row, holder, now):
                row.holder, row.until = holder, now + LASTS
            else:
                row.until = min(row.until, now + LASTS)
                return False
    except IntegrityError:  # there was no row to lock, and another was quicker to add it
        return False
    except Busy:
        if _is_anothers(store, name, holder, now):  # who got it meanwhile, and writes
            return False
        raise
    return True


def give_back(store: Store, name: str, holder: str) -> None:
    """Give the lease back, so that the next process can take it."""
    with store.writing() as db:
        db.execute(delete(Lease).where(Lease.name == name, Lease.holder == holder))


def _is_anothers(store: Store, name: str, holder: str, now: datetime) -> bool:
    with store.reading() as db:
        row = db.get(Lease, name)
        return row is not None and not _may_take(row, holder, now) and row.until <= now + LASTS


def _may_take(row: Lease, holder: str, now: datetime) -> bool:
    return row.holder == holder or row.until <= now
