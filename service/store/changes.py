"""Whether anything was committed since, by whatever process: what was worked out from the same data is used again.

SQLite counts, on a connection of its own, how often others committed (`PRAGMA data_version`); PostgreSQL names what a
statement sees (`pg_current_snapshot`). A result is used again only by a session that sees exactly what it was worked
out from, so it never differs from a fresh one.
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
"""Any statement that reads: with the first one SQLite's session sees one state of the data to its end."""


class ChangeCounter:
    """SQLite's count of commits, as one process sees it; on PostgreSQL there is none."""

    def __init__(self, url: str) -> None:
        self._path = make_url(url).database if is_sqlite(url) else None
        self._lock = Lock()
        self._connection: Any = None
        self._opened = 0

    def now(self) -> tuple[int, int] | None:
        """The count, and which connection's it is, since each has its own; None where it cannot be told just now, so
        that nothing is used again.
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
            except sqlite_driver().Error:  # another process holds the file just now, or it is not there
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
    """Let a session that only reads, and has not begun to, use results again."""
    db.info[_COUNTER], db.info[_AT_BEGIN], db.info[_RESULTS] = counter, counter.now(), results


def unless_changed(db: Session, key: Hashable, make: Callable[[], T]) -> T:
    """The result of `make`, or that of the last time with this key where nothing was committed since.

    `make` may depend on the key and the database alone, and nobody may change what it returns. A session that writes
    always makes it anew.
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
    """What names the state of the data that a session sees; None where it has no name."""
    if db.get_bind().dialect.name == "postgresql":
        return db.scalar(_SNAPSHOT)
    db.execute(_BEGIN)
    at_begin = db.info[_AT_BEGIN]
    return at_begin if at_begin is not None and db.info[_COUNTER].now() == at_begin else None
