"""Sessions: one way to read, one way to write.

`writing()` commits when its block ends well and rolls back when anything is raised, so a refusal leaves nothing
behind, and what was answered after the block is durable.
"""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import text
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from sqlalchemy.orm import Session

from service.kit.problems import Busy
from service.store.engine import is_sqlite, read_engine, write_engine


class Store:
    """The database of one program, as seen by one process."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.writer = write_engine(url)
        self.reader = read_engine(url, self.writer)
        # SQLite's own wait for the write lock polls and is unfair (p99 over a second with 16 writers);
        # waiting for our turn in the process first keeps it in order. PostgreSQL locks rows instead.
        self._turn = threading.Lock() if is_sqlite(url) else None

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session for reading only."""
        with _told_as_busy(), Session(self.reader, expire_on_commit=False, autoflush=False) as db:
            yield db

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """A session in one write transaction, committed when the block ends well."""
        with self._my_turn(), _told_as_busy(), Session(self.writer, expire_on_commit=False) as db, db.begin():
            yield db

    @contextmanager
    def _my_turn(self) -> Iterator[None]:
        if self._turn is None:
            yield
            return
        if not self._turn.acquire(timeout=5):
            raise Busy("Others are writing right now. Send the same again in a moment; nothing was lost.")
        try:
            yield
        finally:
            self._turn.release()

    def reachable(self) -> bool:
        """Whether the database answers."""
        try:
            with self.reader.connect() as connection:
                connection.execute(text("SELECT 1"))
        except DBAPIError:
            return False
        return True

    def close(self) -> None:
        """Give all connections back."""
        self.writer.dispose()
        self.reader.dispose()


@contextmanager
def _told_as_busy() -> Iterator[None]:
    """A locked, full or absent database is told as `Busy`: the phone keeps its entry and sends it again."""
    try:
        yield
    except (OperationalError, PoolTimeout) as error:
        raise Busy(
            "The database is busy, full or away. Send the same again in a moment; nothing was lost."
        ) from error


def locked(db: Session, model: type[Any], key: Any) -> Any:
    """The row with this key, locked until the transaction ends (SQLite's transaction holds the whole file)."""
    return db.get(model, key, with_for_update=True, populate_existing=True)
