"""Backups: one file each, which is checked before it counts, and is either complete or absent.

A backup is an SQLite database, whichever engine the program runs on. PostgreSQL is copied row by row in one snapshot
and compared by digest. A dump by PostgreSQL's own tool would need that tool at the server's version, could be restored
into PostgreSQL only, and would be one more format to test. So the same restore works for both engines.

SQLite is copied page by page by its online backup, as of one moment; in WAL mode writers do not wait for it.

The file is written under a temporary name, checked (integrity, references, revision, row counts), synced, given a
checksum and then renamed, so an unfinished backup never has the name of a good one. That a backup was made is also
stored as a row in the database: the service may run on another host than the one with the folder, and after a restore
the database still says correctly how old its last backup is.
"""

import os
import re
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Mapped, Session, mapped_column

from service.kit.problems import NotFound, Problem
from service.store import migrate
from service.store.base import Base, BigInt
from service.store.checksums import (
    checksum_file_of,
    file_of_checksum,
    has_wrong_checksum,
    list_checksum_files,
    write_checksum,
)
from service.store.engine import is_sqlite, sqlite_driver, write_engine
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
from service.store.rotation import Keep, to_keep
from service.store.rows import REVISION_TABLE, carry, row_counts, snapshot
from service.store.sessions import Store, in_plain_words

OLD = timedelta(days=2)
"""If the last backup is older than this, pages warn: backups are made daily, and one may fail."""

_NAME = "coilbook-%Y%m%dT%H%M%SZ.db"
_NAMED = re.compile(r"coilbook-\d{8}T\d{6}Z\.db")


class Backup(Base):
    """A backup that was made and checked. Rotation may have deleted its file since."""

    __tablename__ = "backup"

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    at: Mapped[datetime]
    file: Mapped[str]
    rows: Mapped[int]


@dataclass(frozen=True)
class Contents:
    """What a backup holds: its revision, and how many rows each table has."""

    path: Path
    revision: str
    tables: dict[str, int]

    @property
    def rows(self) -> int:
        """The number of rows of all tables together."""
        return sum(self.tables.values())


def last_backup(db: Session) -> datetime | None:
    """When the last good backup was made; None if there was none."""
    return db.scalar(select(func.max(Backup.at)))


@contextmanager
def existing_store(url: str) -> Iterator[Store]:
    """The database at `url`, at any revision.

    Raises:
        NotFound: there is none.
    """
    path = sqlite_file(url)
    if path is not None and not path.exists():
        raise NotFound(f"There is no database at {path}. COILBOOK_DATABASE_URL names another one.")
    store = Store(url)
    try:
        with in_plain_words():
            if migrate.current(store) is None:
                raise NotFound("The database is empty: no Coilbook was ever started on it.")
            yield store
    finally:
        store.close()


def back_up(store: Store, folder: Path, now: datetime) -> Contents:
    """Make a backup, check it, and record it in the database.

    Raises:
        Problem: it could not be written, or the check failed; older backups are unchanged.
    """
    made = write_backup(store, folder / now.strftime(_NAME))
    if migrate.current(store) == migrate.head():  # a database at an older revision may have no table for it
        with store.writing() as db:
            db.add(Backup(at=now, file=made.path.name, rows=made.rows))
    return made


def before_migration(url: str, folder: Path, now: datetime) -> Contents | None:
    """Back up a database that a migration is about to change; None if nothing will change.

    Raises:
        Problem: as `back_up`; the migration should then not run.
    """
    path = sqlite_file(url)
    if path is not None and not path.exists():
        return None
    store = Store(url)
    try:
        known = migrate.current(store)
        return back_up(store, folder, now) if known not in (None, migrate.head()) else None
    finally:
        store.close()


def write_backup(store: Store, path: Path) -> Contents:
    """Write the database to a new file at `path` and check it.

    Raises:
        Problem: as `back_up`.
    """
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        begin(part)
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise Problem(f"The backup cannot be written to {path.parent}: {why}. Name another folder.") from error
    try:
        sent = _copy_pages(store, part) if is_sqlite(store.url) else _copy_rows(store, part)
        contents = check(part)
        if contents.tables != sent:
            raise Problem("The backup has other rows than the database had, so it was not kept.")
        write_checksum(part, path)
        put_in_place(part, path)
    except (OSError, DBAPIError, sqlite_driver().Error) as error:
        reason = error.orig if isinstance(error, DBAPIError) else error
        raise Problem(f"The backup could not be written: {reason}. Older ones are as they were.") from error
    finally:
        clear(part)
    return Contents(path, contents.revision, contents.tables)


def check(path: Path) -> Contents:
    """Check that a file is a complete backup, and return its contents.

    Raises:
        NotFound: there is no such file.
        Problem: it is damaged, is no Coilbook backup, or was written by a newer Coilbook.
    """
    if not path.is_file():
        raise NotFound(f"There is no file {path}.")
    driver = sqlite_driver()
    try:
        if has_wrong_checksum(path):
            raise Problem(
                f"{path} is not as it was written: {checksum_file_of(path).name} does not fit it. "
                "Take another one; or delete that file, if you changed the backup yourself."
            )
        with closing(opened_to_read(path)) as file:
            revision = _sound(file, path)
            tables = rows_in(file)
    except OSError as error:
        raise Problem(f"{path} cannot be read: {error.strerror}. Take another one.") from error
    except driver.DatabaseError as error:
        raise Problem(f"{path} is no whole backup: {error}. Take another one.") from error
    return Contents(path, revision, tables)


def rotate(folder: Path, keep: Keep, made: Path) -> list[Path]:
    """Delete the backups that need not be kept any longer, once `made` was checked, and return the deleted ones.

    Only files with names of backups are deleted, and unfinished ones that are more than a day old.

    Raises:
        Problem: some could not be deleted; the others were.
    """
    taken = {moment: path for path in folder.iterdir() if path.is_file() and (moment := _taken_at(path))}
    stay = to_keep(taken, keep)
    gone = [path for moment, path in sorted(taken.items()) if moment not in stay and path.name != made.name]
    a_day_ago = made.stat().st_mtime - timedelta(days=1).total_seconds()
    parts = [
        *folder.glob(".coilbook-*.part*"),
        *(checksum for checksum in list_checksum_files(folder) if not file_of_checksum(checksum).exists()),
    ]
    left = [part for part in parts if part.stat().st_mtime < a_day_ago]
    stuck = [path for path in gone + left if not (_deleted(checksum_file_of(path)) and _deleted(path))]
    if stuck:
        raise Problem(f"The backup {made} is whole, but older ones cannot be deleted: {', '.join(map(str, stuck))}.")
    return gone


def _taken_at(path: Path) -> datetime | None:
    """When a backup was taken, read from its file's name; None if it is not the name of a backup."""
    if not _NAMED.fullmatch(path.name):
        return None
    try:
        return datetime.strptime(path.name, _NAME).replace(tzinfo=UTC)
    except ValueError:  # a date that does not exist
        return None


def _deleted(path: Path) -> bool:
    try:
        path.unlink(missing_ok=True)
    except OSError:
        return False
    return True


def _copy_pages(store: Store, part: Path) -> dict[str, int]:
    with snapshot(store) as source:
        rows = row_counts(source)  # begins the transaction, so that the copy is of the same moment
        copy_file(source.connection.driver_connection, part)
    return rows


def _copy_rows(store: Store, part: Path) -> dict[str, int]:
    url = f"sqlite:///{part}"
    migrate.upgrade(url, migrate.current(store) or "")
    engine = write_engine(url)
    try:
        with snapshot(store) as source, engine.begin() as target:
            arrived = carry(source, target)
    finally:
        engine.dispose()
    in_one_file(part)
    return {name: content.rows for name, content in arrived.items()}


def _sound(file: Any, path: Path) -> str:
    """The revision of an undamaged backup file."""
    (verdict,) = file.execute("PRAGMA integrity_check(1)").fetchone()
    if verdict != "ok":
        raise Problem(f"{path} is damaged: {verdict}. Take another one.")
    if file.execute("PRAGMA foreign_key_check").fetchone():
        raise Problem(f"{path} has rows that refer to nothing. Take another one.")
    if not file.execute("SELECT 1 FROM sqlite_master WHERE name = ?", [REVISION_TABLE]).fetchone():
        raise Problem(f"{path} is none of Coilbook's backups.")
    row = file.execute(f"SELECT version_num FROM {REVISION_TABLE}").fetchone()  # noqa: S608
    revision = str(row[0]) if row else ""
    if not migrate.is_known(revision):
        raise Problem(f"{path} was made by a newer Coilbook (revision {revision}). Update Coilbook first.")
    return revision
