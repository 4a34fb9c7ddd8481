"""Whether the database can be written. A full disk or a read-only folder is reported with the way out; reading goes on.

A write that fails for such a reason raises `CannotSave`, and from then on every page says so. Writing is tried again
every few seconds, so the service recovers by itself once there is room.
"""

from sqlalchemy.exc import DBAPIError

from service.kit.problems import Busy

AGAIN = 5.0
"""Seconds after which writing is tried again."""

FULL = (
    "The disk of the database is full, so nothing can be saved; what is saved can be read. Free some space on it, and "
    "saving goes on by itself."
)
READ_ONLY = (
    "The folder of the database can only be read, so entries may not be saved; what is saved can be read. Let the "
    "service write to that folder, and saving goes on by itself."
)
_FAILS = (
    "The disk of the database takes nothing, so nothing can be saved; what is saved can be read. Free some space on "
    "it, or see whether it is damaged; saving then goes on by itself."
)
_BY_WORDS = {
    "database or disk is full": FULL,
    "readonly database": READ_ONLY,
    "unable to open database file": READ_ONLY,
    "disk I/O error": _FAILS,
}
"""The reason by the text of SQLite's error (its result codes FULL, READONLY, CANTOPEN and IOERR)."""
_BY_STATE = {"53100": FULL, "25006": READ_ONLY}
"""The reason by PostgreSQL's error code (its manual, appendix A): disk_full, read_only_sql_transaction."""


class CannotSave(Busy):
    """Nothing can be written until somebody has made room; then the same request may be sent again."""

    title = "Nothing can be saved right now"
    wait = 30


def reason_of(error: BaseException | None) -> str | None:
    """Why the database cannot be written, judged by an error of its driver; None if the error says something else."""
    state = getattr(error, "sqlstate", None)
    if state in _BY_STATE:
        return _BY_STATE[state]
    words = str(error)
    return next((why for part, why in _BY_WORDS.items() if part in words), None)


def reason_in(error: DBAPIError) -> str | None:
    """The same as `reason_of`, for an error of SQLAlchemy."""
    return reason_of(error.orig)
