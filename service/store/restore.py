"""Restoring a backup into the database that the service runs on, on either engine.

The old database is never lost. On SQLite its file is renamed and stays in the folder. On PostgreSQL it is backed up
first, and the change is one transaction. A backup of an older revision is upgraded to head before it is used.
"""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from shutil import copymode

from sqlalchemy import Connection, MetaData, NullPool, create_engine, text
from sqlalchemy.exc import DBAPIError

from service.kit.problems import Conflict, Problem
from service.store import migrate
from service.store.backup import Contents, check, write_backup
from service.store.engine import sqlite_driver
from service.store.files import (
    begin,
    clear,
    copy_file,
    in_one_file,
    opened_to_read,
    put_in_place,
    rows_in,
    sqlite_file,
)
from service.store.rows import carry, row_counts
from service.store.sessions import Store

_IN_USE = "The database is in use. Stop the service, the clock and the timers, then restore."
_NOT_EMPTY = "The database is not empty. With --replace the backup takes its place, and what is there now is kept."
_NOT_RESTORED = "The backup could not be restored: {}. Nothing was changed."
_ASIDE = "{}-before-restore-%Y%m%dT%H%M%SZ.db"


@dataclass(frozen=True)
class Restored:
    """What was restored, and where the old database is kept."""

    contents: Contents
    aside: Path | None


def restore(url: str, backup: Path, folder: Path, now: datetime, *, replace: bool = False) -> Restored:
    """Replace the database at `url` by a backup. `folder` is where backups go.

    Raises:
        NotFound, Problem: the backup is missing, damaged, or of a newer revision.
        Conflict: the database is not empty and `replace` was not given, or another process has it open.
    """
    contents = check(backup)
    path = sqlite_file(url)
    if path is None:
        return _into_postgres(url, contents, folder / now.strftime(_ASIDE.format("coilbook")), replace)
    return _into_file(path, contents, path.with_name(now.strftime(_ASIDE.format(path.stem))), replace)


def _into_file(path: Path, contents: Contents, aside: Path, replace: bool) -> Restored:
    part = path.with_name(f".{path.name}.restoring")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        clear(part)
        with _reading(contents.path) as backup:
            begin(part)
            copy_file(backup.connection.driver_connection, part)
        if contents.revision != migrate.head():
            migrate.upgrade(f"sqlite:///{part}")
            in_one_file(part)
        restored = check(part)
        kept = None
        if path.exists():
            kept = _set_aside(path, aside, replace)
            copymode(path if kept is None else kept, part)
        put_in_place(part, path)
    except (OSError, DBAPIError, sqlite_driver().Error) as error:
        reason = error.orig if isinstance(error, DBAPIError) else error
        raise Problem(_NOT_RESTORED.format(reason)) from error
    finally:
        clear(part)
    return Restored(Contents(path, restored.revision, restored.tables), kept)


def _set_aside(path: Path, aside: Path, replace: bool) -> Path | None:
    """Keep the old file under another name, if no other process has it open; None if the database is empty.

    SQLite cannot leave WAL mode while there is another open connection, so leaving it proves that there is none, and
    merges the log into the file. In rollback mode an idle connection is not noticed, but SQLite refuses all its writes
    once the file was moved.
    """
    driver = sqlite_driver()
    try:
        with closing(driver.connect(path, timeout=1, isolation_level=None)) as file:
            used = any(rows_in(file).values())
            if used and not replace:
                raise Conflict(_NOT_EMPTY)
            file.execute("PRAGMA journal_mode=DELETE")
            file.execute("BEGIN EXCLUSIVE")
            file.execute("ROLLBACK")
        if not used:
            return None
    except driver.DatabaseError as error:
        if "locked" in str(error):
            raise Conflict(_IN_USE) from error
        if not replace:  # the file is damaged, perhaps the reason for the restore, and is kept as it is
            raise Conflict(_NOT_EMPTY) from error
    _also_as(path, aside)
    for end in ("-wal", "-shm"):
        log = path.with_name(path.name + end)
        if log.exists():
            log.rename(aside.with_name(aside.name + end))
    return aside


def _also_as(path: Path, aside: Path) -> None:
    """Give the file a second name, so that the database exists at every moment; rename it if links are unsupported."""
    try:
        aside.hardlink_to(path)
    except OSError:
        path.rename(aside)


def _into_postgres(url: str, contents: Contents, aside: Path, replace: bool) -> Restored:
    store = Store(url)
    try:
        with store.reader.connect() as connection:
            used = any(row_counts(connection).values())
        if used and not replace:
            raise Conflict(_NOT_EMPTY)
        kept = write_backup(store, aside).path if used else None
        with store.writer.begin() as target, _reading(contents.path) as source:
            _alone(target)
            there = MetaData()
            there.reflect(target)
            there.drop_all(target)
            migrate.upgrade_on(target, contents.revision)
            carry(source, target)
            migrate.upgrade_on(target)
            tables = row_counts(target)
    except DBAPIError as error:
        raise Problem(_NOT_RESTORED.format(str(error.orig).strip())) from error
    finally:
        store.close()
    return Restored(Contents(contents.path, migrate.head(), tables), kept)


def _alone(connection: Connection) -> None:
    others = text(
        "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"
        " AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
    )
    if connection.scalar(others):
        raise Conflict(_IN_USE)


@contextmanager
def _reading(path: Path) -> Iterator[Connection]:
    """A read-only connection to a backup."""
    engine = create_engine(
        "sqlite://", module=sqlite_driver(), creator=lambda: opened_to_read(path), poolclass=NullPool
    )
    with engine.connect() as connection:
        yield connection
