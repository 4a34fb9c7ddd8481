"""A cache of results that is valid as long as no process has committed anything.

On SQLite a connection of its own counts the commits of others (`PRAGMA data_version`); on PostgreSQL the snapshot of a
statement has a name (`pg_current_snapshot`). A result is used again only by a session that sees exactly the data that
it was computed from, so it never differs from a new one.
"""

from collections.abc import Callable, Hashable
from pathlib import Path
from threading import Lock
from typing import Any, Final, TypeVar

from sqlalchemy import make_url, text
from sqlalchemy.orm import Session

from service.store.engine import is_sqlite, sqlite_driver

T = TypeVar("T")

_COUNTER: Final = "change counter"
_AT_BEGIN: Final = "change counter when the session was opened"
_RESULTS: Final = "results by what they were worked out from"
_SNAPSHOT: Final = text("SELECT CAST(pg_current_snapshot() AS text)")
_BEGIN: Final = text("SELECT 1 FROM program LIMIT 1")
"""Any statement that reads: from the first one on, a session of SQLite sees one state of the data."""


class ChangeCounter:
    """SQLite's count of commits, as one process sees it; not used on PostgreSQL."""

    def __init__(self, url: str) -> None:
        self._path = make_url(url).database if is_sqlite(url) else None
        self._lock = Lock()
        self._connection: Any = None
        self._opened = 0

    def now(self) -> tuple[int, int] | None:
        """The count and the number of its connection, since each connection has its own count; None if it is unknown
        just now, so that no result is used again.
        """
        if not self._path:
            return None
        with self._lock:
            try:
                if self._connection is None:
                    file = f"{Path(self._path).resolve().as_uri()}?mode=ro"
                    self._connection = sqlite_driver().connect(file, uri=True, check_same_thread=False, timeout=0)
                    self._opened += 1
                row = self._connection.execute("PRAGMA data_version").fetchone()
            except sqlite_driver().Error:  # another process has locked the file just now, or it does not exist
                self._close()
                return None
            return self._opened, row[0]

    def close(self) -> None:
        """Give the connection back."""
        with self._lock:
            self._close()

    def _close(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None


def watch(db: Session, counter: ChangeCounter, results: dict[Any, Any]) -> None:
    """Let a session that only reads use cached results; it must not have read anything yet."""
    db.info[_COUNTER], db.info[_AT_BEGIN], db.info[_RESULTS] = counter, counter.now(), results


def unless_changed(db: Session, key: Hashable, make: Callable[[], T]) -> T:
    """The result of `make`, or its last result with this key if nothing was committed since.

    `make` may depend only on the key and the database, and its result must not be modified. A session that writes
    always calls `make`.
    """
    if _RESULTS not in db.info:
        return make()
    state, results = _state(db), db.info[_RESULTS]
    if state is None:
        return make()
    before = results.get(key)
    if before is not None and before[0] == state:
        result: T = before[1]
        return result
    result = make()
    if _state(db) == state:
        for other in [other for other, (of, _) in list(results.items()) if of != state]:
            results.pop(other, None)
        results[key] = state, result
    return result


def _state(db: Session) -> object:
    """A key for the state of the data that a session sees; None if there is none."""
    if db.get_bind().dialect.name == "postgresql":
        return db.scalar(_SNAPSHOT)
    db.execute(_BEGIN)
    at_begin = db.info[_AT_BEGIN]
    return at_begin if at_begin is not None and db.info[_COUNTER].now() == at_begin else None
