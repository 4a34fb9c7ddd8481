"""Whether the database can be written. A full disk or a read-only folder is told with the way out; reading goes on.

A write that fails by it is told so (`CannotSave`), and so is every page from then on. It is tried again every few
seconds, so that all goes on by itself once there is room.
"""

import os
from pathlib import Path

from sqlalchemy import make_url
from sqlalchemy.exc import DBAPIError

from service.kit.problems import Busy

AGAIN = 5.0
"""Seconds after which it is looked at again."""

_FULL = (
    "The disk of the database is full, so nothing can be saved; what is saved can be read. Free some space on it, and "
    "saving goes on by itself."
)
_READ_ONLY = (
    "The folder of the database can only be read, so nothing can be saved; what is saved can be read. Let the service "
    "write to that folder, and saving goes on by itself."
)
_FAILS = (
    "The disk of the database takes nothing, so nothing can be saved; what is saved can be read. Free some space on "
    "it, or see whether it is damaged; saving then goes on by itself."
)
_BY_WORDS = {
    "database or disk is full": _FULL,
    "readonly database": _READ_ONLY,
    "unable to open database file": _READ_ONLY,
    "disk I/O error": _FAILS,
}
"""By what SQLite's library says (its result codes FULL, READONLY, CANTOPEN and IOERR)."""
_BY_STATE = {"53100": _FULL, "25006": _READ_ONLY}
"""By PostgreSQL's codes (its manual, appendix A): disk_full, read_only_sql_transaction."""


class CannotSave(Busy):
    """Nothing can be written until somebody has made room; the same request may be sent again then."""

    title = "Nothing can be saved right now"
    wait = 30


def reason_of(error: BaseException | None) -> str | None:
    """What keeps a database from writing, by an error of its driver's; None where it is something else."""
    state = getattr(error, "sqlstate", None)
    if state in _BY_STATE:
        return _BY_STATE[state]
    told = str(error)
    return next((why for words, why in _BY_WORDS.items() if words in told), None)


def reason_seen(url: str) -> str | None:
    """What will keep an SQLite database from writing, as far as its folder shows; None where nothing does."""
    database = make_url(url).database
    if make_url(url).get_backend_name() != "sqlite" or not database:
        return None
    file = Path(database)
    if not all(os.access(each, os.W_OK) for each in (file.parent, file) if each.exists()):
        return _READ_ONLY
    disk = os.statvfs(file.parent)
    return _FULL if disk.f_bavail == 0 else None


def reason_in(error: DBAPIError) -> str | None:
    """The same as `reason_of`, of an error as SQLAlchemy tells it."""
    return reason_of(error.orig)
