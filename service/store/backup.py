"""Backups: one file each, checked before it counts, and complete or absent.

A backup is an SQLite database whichever engine the program runs on. PostgreSQL is copied row for row in one snapshot
and compared by digest; a dump by its own tool would need that tool at the server's version, could be restored into
PostgreSQL only, and would be one more format to prove. So one restore serves both engines, either way round.

SQLite is copied by its online backup, page for page, at one moment; writers do not wait for it in WAL mode.

The file is written under a temporary name, checked (integrity, references, revision, row counts), synced, sealed and
then renamed, so that a backup that was cut short never stands beside good ones under a name like theirs. That it was
made is a row in the database and not only a file: the service may run on other hosts than the one with the folder,
and a database that was restored says truly how old its last backup is.
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
from service.store.checksums import broken, checksum_files, seal, seal_of, sealed
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
from service.store.rows import REVISION_TABLE, carry, counted, snapshot
from service.store.sessions import Store, in_plain_words

OLD = timedelta(days=2)
"""A last backup older than this is worth a warning: daily ones are due, and one may fail."""

_NAME = "coilbook-%Y%m%dT%H%M%SZ.db"
_NAMED = re.compile(r"coilbook-\d{8}T\d{6}Z\.db")


class Backup(Base):
    """A backup that was made and found good; its file may be gone by rotation."""

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
        """Rows of all tables."""
        return sum(self.tables.values())


def last_backup(db: Session) -> datetime | None:
    """When the last good backup was made; None before the first."""
    return db.scalar(select(func.max(Backup.at)))


@contextmanager
def present(url: str) -> Iterator[Store]:
    """The existing database, at any revision.

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
    """Make a backup, check it, and note it in the database.

    Raises:
        Problem: it could not be written, or is not as it should be; older ones are as they were.
    """
    made = write_backup(store, folder / now.strftime(_NAME))
    if migrate.current(store) == migrate.head():  # an older database may have nowhere to note it
        with store.writing() as db:
            db.add(Backup(at=now, file=made.path.name, rows=made.rows))
    return made


def before_migration(url: str, folder: Path, now: datetime) -> Contents | None:
    """Back up a database that a migration is about to change; None where nothing will change.

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
        seal(part, path)
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
        Problem: it is damaged, none of Coilbook's, or of a newer one.
    """
    if not path.is_file():
        raise NotFound(f"There is no file {path}.")
    driver = sqlite_driver()
    try:
        if broken(path):
            raise Problem(
                f"{path} is not as it was written: {seal_of(path).name} does not fit it. Take another one; or delete "
                "that file, if you changed the backup yourself."
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
    """Delete the backups that need not be kept any longer, once `made` was checked, and return those deleted.

    Only files that are named as ours are touched, and what a backup left behind that was cut short a day ago.

    Raises:
        Problem: some could not be deleted; the others are.
    """
    taken = {moment: path for path in folder.iterdir() if path.is_file() and (moment := _taken_at(path))}
    stay = to_keep(taken, keep)
    gone = [path for moment, path in sorted(taken.items()) if moment not in stay and path.name != made.name]
    a_day_ago = made.stat().st_mtime - timedelta(days=1).total_seconds()
    parts = [
        *folder.glob(".coilbook-*.part*"),
        *(seal for seal in checksum_files(folder) if not sealed(seal).exists()),
    ]
    left = [part for part in parts if part.stat().st_mtime < a_day_ago]
    stuck = [path for path in gone + left if not (_deleted(seal_of(path)) and _deleted(path))]
    if stuck:
        raise Problem(f"The backup {made} is whole, but older ones cannot be deleted: {', '.join(map(str, stuck))}.")
    return gone


def _taken_at(path: Path) -> datetime | None:
    """When a backup was taken, by its name; None where it is no name of ours."""
    if not _NAMED.fullmatch(path.name):
        return None
    try:
        return datetime.strptime(path.name, _NAME).replace(tzinfo=UTC)
    except ValueError:  # a day that is in no calendar
        return None


def _deleted(path: Path) -> bool:
    try:
        path.unlink(missing_ok=True)
    except OSError:
        return False
    return True


def _copy_pages(store: Store, part: Path) -> dict[str, int]:
    with snapshot(store) as source:
        rows = counted(source)  # begins the transaction: the copy is of the same moment
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
    """The revision of a sound file of ours."""
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
