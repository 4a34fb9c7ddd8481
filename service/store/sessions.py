"""Sessions: one way to read, one way to write, and many keys asked for a chunk at a time.

`writing()` commits when its block ends well and rolls back when anything is raised, so a refusal leaves nothing
behind, and what was answered after the block is durable.
"""

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
from service.store.engine import THREADS, WAIT, is_sqlite, read_engine, reason_seen, waits_for_nobody, write_engine

OTHERS_WRITE = "Others are writing right now. Send the same again in a moment; nothing was lost."

_SHORT_WAIT = 0.5
"""Seconds after which a turn takes long."""
_UNIQUE_VIOLATION = "23505"
"""PostgreSQL's code for a row that is there already (its manual, appendix A)."""

_CHUNK = 400
"""How many are asked for in one query: well below any engine's bound on parameters."""

_CACHE = "cache"

_LEAST_WRITE = text("UPDATE program SET id = id")
"""Changes nothing, and has to be written all the same."""

T = TypeVar("T")
Beside = Callable[[Any], AbstractContextManager[None]]


class Beaten(Busy):
    """Another transaction changed what this one relies on, so it must start again (`rerun_if_beaten`)."""

    def __init__(self) -> None:
        super().__init__(OTHERS_WRITE)


class Turns:
    """A lock that is given in the order in which it was asked for. Python's own often goes back to the thread that
    gave it up, so that whoever writes again and again would let nobody in.
    """

    def __init__(self) -> None:
        self._mutex = threading.Lock()
        self._taken = False
        self._waiting: deque[threading.Lock] = deque()

    @property
    def waiting(self) -> int:
        """How many wait for theirs."""
        return len(self._waiting)

    def acquire(self, timeout: float) -> bool:
        """Wait for our turn, for so many seconds at most; whether it came."""
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
        except BaseException:  # told to stop while it waited: nobody would ever give back what it is given
            if not self._leave(mine):
                self.release()
            raise
        return not self._leave(mine)

    def _leave(self, mine: threading.Lock) -> bool:
        """Wait no more; False where the turn was given to us in this very moment."""
        with self._mutex:
            if mine not in self._waiting:
                return False
            self._waiting.remove(mine)
            return True

    def release(self) -> None:
        """Let the next one have it, whoever has waited longest."""
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
        self.reads_at_once = waits_for_nobody(url)
        # SQLite's own wait for the write lock polls and is unfair (p99 over a second with 16 writers);
        # waiting for our turn in the process first keeps it in order. PostgreSQL locks rows instead.
        self.turns = Turns() if is_sqlite(url) else None
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
    def writing(self, beside: Beside | None = None) -> Iterator[Session]:
        """A session in one write transaction, committed when the block ends well.

        Args:
            beside: what is to be at hand on the driver's connection, from before our turn until after it.
        """
        with (
            self._told_as_full(),
            self._writer_with(beside) as bind,
            self._my_turn(),
            Session(bind, expire_on_commit=False) as db,
            db.begin(),
        ):
            yield db
            in_trouble = self._trouble is not None
            if in_trouble:
                db.execute(_LEAST_WRITE)  # a transaction that wrote nothing would not show that it is over
        if in_trouble:
            self._trouble = None
            self.reader.dispose()  # what could not be written was perhaps opened in another way

    @contextmanager
    def _writer_with(self, beside: Beside | None) -> Iterator[Engine | Connection]:
        if beside is None:
            yield self.writer
            return
        with self.writer.connect() as connection, beside(connection.connection.driver_connection):
            yield connection

    @contextmanager
    def _my_turn(self) -> Iterator[None]:
        """Our turn at writing. While another process holds the database, so that a turn takes long, the last thread
        that is left does not wait for its own: reading goes on.
        """
        if self.turns is None:
            yield
            return
        long = self._may_wait.acquire(blocking=False)
        try:
            patience = WAIT if long else max(0.0, self._since + _SHORT_WAIT - time.monotonic())
            if not self.turns.acquire(timeout=patience):
                raise Busy(OTHERS_WRITE)
            self._since = time.monotonic()
            try:
                yield
            finally:
                self.turns.release()
        finally:
            if long:
                self._may_wait.release()

    @contextmanager
    def _told_as_full(self) -> Iterator[None]:
        """A write for which there is no room is told as `CannotSave`, and pages tell it from then on."""
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
        """What keeps us from saving, with the way out; None where nothing does. Looked at again every few seconds."""
        now = time.monotonic()
        if now >= self._look_at and self._looking.acquire(blocking=False):
            try:
                self._look_at = now + AGAIN
                if self._trouble is None:
                    self._trouble = reason_seen(self.url)
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
    """Turn an error of a locked, full or absent database into `Busy`: the phone keeps its entry and sends it again."""
    try:
        yield
    except (OperationalError, PoolTimeout) as error:
        raise Busy("The database is busy, full or away. Send the same again in a moment; nothing was lost.") from error


@contextmanager
def in_plain_words() -> Iterator[None]:
    """Turn a database error into a sentence for whoever gave the command.

    Raises:
        Problem: in the database's own words.
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
    """The cache of this process under a name, shared by sessions that only read.

    A session that writes gets an empty one: what it sees may never be committed.
    """
    memory: dict[Any, Any] = db.info.get(_CACHE, {}).setdefault(what, {})
    return memory


def rerun_if_beaten(write: Callable[[], T]) -> T:
    """Run a write transaction, and again if another one wrote the same row first or it raised `Beaten`.

    On PostgreSQL two may look at once whether a name is free. The second then sees what the first one wrote, and says
    so in its own words. SQLite lets them come one after the other.

    Raises:
        Busy: it was beaten three times.
    """
    for _ in range(3):
        try:
            return write()
        except Beaten as error:
            beaten: Exception = error
        except IntegrityError as error:
            if getattr(error.orig, "sqlstate", None) != _UNIQUE_VIOLATION:
                raise
            beaten = error
    raise Busy("Others save the same right now. Send it again in a moment; nothing was lost.") from beaten


def locked(db: Session, model: type[Any], key: Any) -> Any:
    """The row with this key, locked until the transaction ends (SQLite's transaction holds the whole file)."""
    return db.get(model, key, with_for_update=True, populate_existing=True)


def holds_everything(db: Session) -> bool:
    """Whether nobody else can write until this write transaction ends: SQLite's holds the whole file."""
    return db.get_bind().dialect.name == "sqlite"


def shared(db: Session, model: type[Any], key: Any) -> Any:
    """The row with this key under a shared lock until the transaction ends. Others may share it, or write to it without
    locking it, but nobody can lock it.
    """
    return db.get(model, key, with_for_update={"read": True, "key_share": True}, populate_existing=True)


def chunks(keys: Iterable[T], size: int = _CHUNK) -> Iterator[list[T]]:
    """The keys in lists short enough for one query each, or of this size.

    >>> [len(some) for some in chunks(range(1000))]
    [400, 400, 200]
    """
    every = list(keys)
    return (every[at : at + size] for at in range(0, len(every), size))
