"""Sessions: one way to read, one way to write, and queries for many keys in chunks.

`writing()` commits at the end of its block and rolls back if anything is raised, so a refusal leaves nothing
behind, and a write is durable once the block has ended.
"""

import gc
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from sqlalchemy.orm import Session

from service.kit.problems import Busy, Problem
from service.store.changes import ChangeCounter, watch
from service.store.disk_space import AGAIN, CannotSave, reason_in
from service.store.engine import (
    THREADS,
    WAIT,
    is_sqlite,
    read_engine,
    reads_during_writes,
    unwritable_reason,
    write_engine,
)

OTHERS_WRITE = "Others are writing right now. Send the same again in a moment; nothing was lost."

_SHORT_WAIT = 0.5
"""Seconds after which a wait for the write lock counts as long."""
_UNIQUE_VIOLATION = "23505"
"""PostgreSQL's code for a duplicate key (its manual, appendix A)."""

_CHUNK = 400
"""How many keys one query has: well below every engine's limit on parameters."""

_CACHE = "cache"

_LEAST_WRITE = text("UPDATE program SET id = id")
"""A statement that changes nothing, but is still written to the file."""

T = TypeVar("T")
Preparation = Callable[[Any], AbstractContextManager[None]]


class WriteConflict(Busy):
    """Another transaction changed what this one relies on, so it must be retried (`retry_on_conflict`)."""

    def __init__(self) -> None:
        super().__init__(OTHERS_WRITE)


class FairLock:
    """A fair lock: threads get it in the order in which they asked for it. Python's own lock often goes back to the
    thread that released it, so a thread that writes repeatedly would keep others out.
    """

    def __init__(self) -> None:
        self._mutex = threading.Lock()
        self._taken = False
        self._waiting: deque[threading.Lock] = deque()

    @property
    def waiting(self) -> int:
        """How many threads wait for the lock."""
        return len(self._waiting)

    def acquire(self, timeout: float) -> bool:
        """Wait for the lock, at most `timeout` seconds. Returns whether it was acquired."""
        with self._mutex:
            if not self._taken:
                self._taken = True
                return True
            mine = threading.Lock()
            mine.acquire()
            self._waiting.append(mine)
        try:
            if mine.acquire(timeout=timeout):
                return True
        except BaseException:  # interrupted while waiting: a lock that is handed to this thread would never be released
            if not self._leave(mine):
                self.release()
            raise
        return not self._leave(mine)

    def _leave(self, mine: threading.Lock) -> bool:
        """Stop waiting; False if the lock was handed to us at this moment."""
        with self._mutex:
            if mine not in self._waiting:
                return False
            self._waiting.remove(mine)
            return True

    def release(self) -> None:
        """Release the lock to the thread that has waited longest."""
        with self._mutex:
            if self._waiting:
                self._waiting.popleft().release()
            else:
                self._taken = False


class Store:
    """The database of one program, as seen by one process."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.writer = write_engine(url)
        self.reader = read_engine(url, self.writer)
        self.reads_without_waiting = reads_during_writes(url)
        # SQLite's own wait for the write lock polls and is unfair (p99 over a second with 16 writers), so threads
        # wait for a fair lock of the process first. PostgreSQL locks rows instead.
        self.write_lock = FairLock() if is_sqlite(url) else None
        self._may_wait = threading.Semaphore(THREADS - 1)
        self._since = 0.0
        self._trouble: str | None = None
        self._look_at = 0.0
        self._looking = threading.Lock()
        self._cache: dict[str, dict[Any, Any]] = {}
        self._counter = ChangeCounter(url)
        self._results: dict[Any, Any] = {}

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session for reading only."""
        with _as_busy(), Session(self.reader, expire_on_commit=False, autoflush=False) as db:
            db.info[_CACHE] = self._cache
            watch(db, self._counter, self._results)
            yield db

    @contextmanager
    def writing(self, prepare: Preparation | None = None) -> Iterator[Session]:
        """A session in one write transaction, committed at the end of the block.

        Args:
            prepare: a context manager on the driver's connection, entered before the write lock is acquired.
        """
        with (
            self._as_cannot_save(),
            self._writer_with(prepare) as bind,
            self._write_locked(),
            Session(bind, expire_on_commit=False) as db,
            db.begin(),
        ):
            yield db
            was_unwritable = self._trouble is not None
            if was_unwritable:
                db.execute(_LEAST_WRITE)  # a transaction that writes nothing would not show whether writing works again
        if was_unwritable:
            self._trouble = None
            self.reader.dispose()  # connections that were opened in the meantime may be read-only

    @contextmanager
    def _writer_with(self, prepare: Preparation | None) -> Iterator[Engine | Connection]:
        if prepare is None:
            yield self.writer
            return
        with self.writer.connect() as connection, prepare(connection.connection.driver_connection):
            yield connection

    @contextmanager
    def _write_locked(self) -> Iterator[None]:
        """Hold the write lock of the process. While another process holds the database, so that waiting takes long, the
        last free thread does not wait, so that reading goes on.
        """
        if self.write_lock is None:
            yield
            return
        may_wait = self._may_wait.acquire(blocking=False)
        try:
            timeout = WAIT if may_wait else max(0.0, self._since + _SHORT_WAIT - time.monotonic())
            if not self.write_lock.acquire(timeout=timeout):
                raise Busy(OTHERS_WRITE)
            self._since = time.monotonic()
            collects = gc.isenabled()
            gc.disable()  # housekeeping holds the log in memory: a full collection would add up to 0.5 s to the lock
            try:
                yield
            finally:
                if collects:
                    gc.enable()
                self.write_lock.release()
        finally:
            if may_wait:
                self._may_wait.release()

    @contextmanager
    def _as_cannot_save(self) -> Iterator[None]:
        """Raise `CannotSave` for a write that the disk or folder refuses; from then on pages show the reason."""
        try:
            with _as_busy():
                yield
        except (DBAPIError, Busy) as error:
            refused = error.__cause__ if isinstance(error, Busy) else error
            reason = reason_in(refused) if isinstance(refused, DBAPIError) else None
            if reason is None:
                raise
            self._trouble = reason
            raise CannotSave(reason) from refused

    def trouble(self) -> str | None:
        """Why nothing can be saved, with the way out; None if saving works. It is tried again every few seconds."""
        now = time.monotonic()
        if now >= self._look_at and self._looking.acquire(blocking=False):
            try:
                self._look_at = now + AGAIN
                if self._trouble is None:
                    self._trouble = unwritable_reason(self.url)
                else:
                    with suppress(Busy), self.writing():
                        pass
            finally:
                self._looking.release()
        return self._trouble

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
        self._counter.close()
        self.writer.dispose()
        self.reader.dispose()


@contextmanager
def _as_busy() -> Iterator[None]:
    """Turn the error of a locked or unreachable database into `Busy`: the phone keeps its entry and sends it again."""
    try:
        yield
    except (OperationalError, PoolTimeout) as error:
        raise Busy("The database is busy, full or away. Send the same again in a moment; nothing was lost.") from error


@contextmanager
def in_plain_words() -> Iterator[None]:
    """Turn a database error into a sentence for the person who ran the command.

    Raises:
        Problem: with the database's own text.
    """
    try:
        yield
    except (DBAPIError, Busy) as error:
        refused = error.__cause__ if isinstance(error, Busy) else error
        if not isinstance(refused, DBAPIError):
            raise
        raise Problem(f"The database cannot be used: {str(refused.orig).strip()}") from error


def reads_only(db: Session) -> bool:
    """Whether a session was opened for reading only."""
    return _CACHE in db.info


def cached(db: Session, what: str) -> dict[Any, Any]:
    """The cache of this process under the name `what`, shared by sessions that only read.

    A session that writes gets an empty one, since what it sees may never be committed.
    """
    memory: dict[Any, Any] = db.info.get(_CACHE, {}).setdefault(what, {})
    return memory


def retry_on_conflict(write: Callable[[], T]) -> T:
    """Run a write transaction, and run it again if another one wrote the same row first or it raised `WriteConflict`.

    On PostgreSQL two transactions may check at once that a name is free. When the second runs again, it sees what the
    first one wrote, and refuses with its own sentence. On SQLite transactions run one after the other.

    Raises:
        Busy: it failed three times.
    """
    for _ in range(3):
        try:
            return write()
        except WriteConflict as error:
            beaten: Exception = error
        except IntegrityError as error:
            if getattr(error.orig, "sqlstate", None) != _UNIQUE_VIOLATION:
                raise
            beaten = error
    raise Busy("Others save the same right now. Send it again in a moment; nothing was lost.") from beaten


def locked(db: Session, model: type[Any], key: Any) -> Any:
    """The row with this key, locked until the transaction ends (on SQLite a transaction locks the whole file)."""
    return db.get(model, key, with_for_update=True, populate_existing=True)


def locks_everything(db: Session) -> bool:
    """Whether nobody else can write until this write transaction ends: on SQLite it locks the whole file."""
    return db.get_bind().dialect.name == "sqlite"


def shared(db: Session, model: type[Any], key: Any) -> Any:
    """The row with this key under a shared lock until the transaction ends: others may share the lock, or write to the
    row without a lock, but nobody can lock it exclusively.
    """
    return db.get(model, key, with_for_update={"read": True, "key_share": True}, populate_existing=True)


def chunks(keys: Iterable[T], size: int = _CHUNK) -> Iterator[list[T]]:
    """The keys in lists of at most `size`, by default short enough for one query each.

    >>> [len(some) for some in chunks(range(1000))]
    [400, 400, 200]
    """
    every = list(keys)
    return (every[at : at + size] for at in range(0, len(every), size))
