"""Leases: one of several processes does a piece of work at a time.

A row says who holds a lease and until when. As long as its holder lives, the holder renews it every few seconds, and
releases it when the work is done. The lease of a holder that died expires in less than a minute, so nobody has to
clean up. Work under a lease must still be idempotent: a holder that was paused for longer than its lease learns of the
loss only when it tries to renew.
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
"""How long a lease lasts without being renewed. If clocks of hosts differ by more, two may do the work at once."""
RENEWED = timedelta(seconds=10)
"""How often the holder renews its lease."""
TRIED = timedelta(seconds=10)
"""How often others try to get the lease: together with `LASTS`, the work of a killed holder goes on within a minute."""


class Lease(Base):
    """A piece of work, who does it, and until when nobody else may."""

    __tablename__ = "lease"

    name: Mapped[str] = mapped_column(primary_key=True)
    holder: Mapped[str]
    until: Mapped[datetime]


@contextmanager
def hold_lease(store: Store, name: str, clock: Callable[[], datetime]) -> Iterator[Callable[[], bool] | None]:
    """Hold a lease while the block runs. Gives a function that says whether the lease is still ours, or None if
    somebody else holds it.
    """
    holder = f"{socket.gethostname()}/{os.getpid()}/{uuid4().hex[:8]}"
    if not take_lease(store, name, holder, clock()):
        yield None
        return
    ended, lost = Event(), Event()

    def renew() -> None:
        while not ended.wait(RENEWED.total_seconds()):
            try:
                if not take_lease(store, name, holder, clock()):
                    lost.set()
                    return
            except (Busy, DBAPIError):  # tried again the next time; if it keeps failing, the lease expires
                continue

    Thread(target=renew, name=f"lease of {name}", daemon=True).start()
    try:
        yield lambda: not lost.is_set()
    finally:
        ended.set()
        release_lease(store, name, holder)


def take_lease(store: Store, name: str, holder: str, now: datetime) -> bool:
    """Take a lease that is free or has expired, or renew one's own. Returns whether it is ours.

    Reads first, so that a second process returns at once, however long the first one's transaction is. An expiry that
    is further ahead than a lease lasts was written by a wrong clock, and is cut to the length of a lease from now.
    """
    if _is_held_by_another(store, name, holder, now):
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
    except IntegrityError:  # there was no row to lock, and another process added it first
        return False
    except Busy:
        if _is_held_by_another(store, name, holder, now):  # another process took it meanwhile and is writing
            return False
        raise
    return True


def release_lease(store: Store, name: str, holder: str) -> None:
    """Release the lease, so that the next process can take it."""
    with store.writing() as db:
        db.execute(delete(Lease).where(Lease.name == name, Lease.holder == holder))


def _is_held_by_another(store: Store, name: str, holder: str, now: datetime) -> bool:
    with store.reading() as db:
        row = db.get(Lease, name)
        return row is not None and not _may_take(row, holder, now) and row.until <= now + LASTS


def _may_take(row: Lease, holder: str, now: datetime) -> bool:
    return row.holder == holder or row.until <= now
