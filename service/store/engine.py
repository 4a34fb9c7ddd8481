"""Engines: SQLite's pragmas and transactions, PostgreSQL's pool; and column types that mean the same on both.

SQLite between 3.7.0 and 3.51.2 can lose or corrupt data in WAL mode when two connections meet at a WAL reset
(fixed in 3.51.3, back-ported to 3.44.6 and 3.50.7; 3.52.0 was withdrawn). So the fixed library of
`pysqlite3` is preferred, and a library without the fix is used with a rollback journal instead of WAL.
"""

import importlib
import os
from datetime import UTC, datetime
from pathlib import Path
from types import ModuleType
from typing import Any

from sqlalchemy import JSON, Connection, DateTime, Dialect, Engine, create_engine, event, make_url
from sqlalchemy.types import TypeDecorator

from service.kit.problems import Problem
from service.store.disk_space import FULL, READ_ONLY, reason_of

THREADS = 4
"""Worker threads of a process."""

_POOL = THREADS + 3
"""Connections: one for each worker thread, and one each for the batch of tests, for the clock and for counting
tries of passphrases, so that none of them waits for a connection that others hold.
"""

WAIT = 2.5
"""Seconds that a write waits for its turn in the process, and then again for other processes; a test in a batch may
have waited as long for the batch before it.
"""

_PRAGMAS = (
    "PRAGMA synchronous=FULL",
    "PRAGMA foreign_keys=ON",
    f"PRAGMA busy_timeout={WAIT * 1000:.0f}",
    "PRAGMA mmap_size=0",
    "PRAGMA trusted_schema=OFF",
    "PRAGMA cache_size=-8000",
)

_POSTGRES = {
    "timezone": "UTC",
    "synchronous_commit": "on",  # whatever the server's default, a write is durable before it is acknowledged
    "lock_timeout": 5000,
    "statement_timeout": 30_000,
    "idle_in_transaction_session_timeout": 60_000,  # the host may disappear in the middle of a write
    "tcp_keepalives_idle": 30,
}
"""Settings of each connection. Times are in milliseconds, except the last, which is in seconds."""


def sqlite_driver() -> ModuleType:
    """The SQLite driver with the newer library: `pysqlite3` where it is installed, else Python's own."""
    try:
        return importlib.import_module("pysqlite3.dbapi2")
    except ImportError:
        return importlib.import_module("sqlite3")


def wal_is_safe(version: tuple[int, ...]) -> bool:
    """Whether this SQLite library has the fix of the WAL-reset bug."""
    if version[:2] == (3, 44):
        return version >= (3, 44, 6)
    if version[:2] == (3, 50):
        return version >= (3, 50, 7)
    return version >= (3, 51, 3) and version[:3] != (3, 52, 0)


def is_sqlite(url: str) -> bool:
    """Whether the database is an SQLite file."""
    return make_url(url).get_backend_name() == "sqlite"


def reads_during_writes(url: str) -> bool:
    """Whether reading never waits for a writer nor for the network: SQLite with WAL."""
    return is_sqlite(url) and wal_is_safe(sqlite_driver().sqlite_version_info)


def unwritable_reason(url: str) -> str | None:
    """Why an SQLite database cannot be written, as far as its folder shows; None if nothing speaks against it."""
    database = make_url(url).database
    if not is_sqlite(url) or not database:
        return None
    file = Path(database)
    if not all(os.access(each, os.W_OK) for each in (file.parent, file) if each.exists()):
        return READ_ONLY
    disk = os.statvfs(file.parent)
    return FULL if disk.f_bavail == 0 else None


def write_engine(url: str) -> Engine:
    """The engine for write transactions. On SQLite each begins IMMEDIATE: it holds the write lock from its first
    read on, since a transaction that reads first and writes later is refused as busy at once, whatever the timeout.
    """
    if is_sqlite(url):
        return _sqlite(url, "BEGIN IMMEDIATE", query_only=False)
    return _postgres(url)


def read_engine(url: str, writer: Engine) -> Engine:
    """The engine for reading: on SQLite connections that cannot write, on PostgreSQL the writer's own pool."""
    return _sqlite(url, "BEGIN", query_only=True) if is_sqlite(url) else writer


def _sqlite(url: str, begin: str, *, query_only: bool) -> Engine:
    path = make_url(url).database
    if path:
        _make_folder(Path(path).parent)
    driver = sqlite_driver()

    def open_file() -> Any:
        connection = driver.connect(path, check_same_thread=False)
        return _unless_closed(connection, path) if query_only else connection

    engine = create_engine(
        url,
        module=driver,
        creator=open_file,
        hide_parameters=True,  # an error's text goes to the log, the values to be saved must not
        pool_size=_POOL,
        max_overflow=0,
        pool_timeout=5,
    )
    journal = "WAL" if reads_during_writes(url) else "DELETE"

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # the driver does not begin transactions by itself; `_begin` does
        for pragma in _PRAGMAS:
            connection.execute(pragma)
        if query_only:
            connection.execute("PRAGMA query_only=ON")
        else:
            connection.execute(f"PRAGMA journal_mode={journal}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        connection.exec_driver_sql(begin)

    return engine


def _unless_closed(connection: Any, path: str | None) -> Any:
    """A connection to read from. SQLite cannot read a WAL database in a read-only folder, since it would have to make
    its index file there. If there is no log either, nobody is writing, and the file is opened as immutable.
    """
    driver = sqlite_driver()
    try:
        connection.execute("SELECT 1 FROM sqlite_master")
    except driver.OperationalError as error:
        connection.close()
        file, log = Path(str(path)), Path(f"{path}-wal")
        if reason_of(error) is None or not file.exists() or (log.exists() and log.stat().st_size):
            raise
        return driver.connect(f"{file.resolve().as_uri()}?immutable=1", uri=True, check_same_thread=False)
    return connection


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise Problem(
            f"The database's folder {folder} cannot be made: {why}. COILBOOK_DATABASE_URL names it."
        ) from error


def _postgres(url: str) -> Engine:
    return create_engine(
        url,
        hide_parameters=True,
        pool_size=_POOL,
        max_overflow=0,
        pool_timeout=5,
        pool_pre_ping=True,
        connect_args={
            "application_name": "coilbook",
            "connect_timeout": 5,
            "options": " ".join(f"-c {name}={value}" for name, value in _POSTGRES.items()),
        },
    )


class Instant(TypeDecorator[datetime]):
    """A moment: aware in, stored in UTC, aware UTC out.

    SQLite would drop the offset without converting, so naive values are refused and others are converted first.
    """

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"an instant needs an offset, {value.isoformat()} has none")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class NullableJson(TypeDecorator[Any]):
    """JSON, with Python's None stored as SQL NULL and never as the JSON word null."""

    impl = JSON(none_as_null=True)
    cache_ok = True
