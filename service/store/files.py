"""SQLite databases as files: opening one without changing it, copying, merging its log, moving it into place."""

import os
from contextlib import closing
from pathlib import Path
from typing import Any

from sqlalchemy import make_url

from service.store.engine import is_sqlite, sqlite_driver
from service.store.rows import REVISION_TABLE


def sqlite_file(url: str) -> Path | None:
    """The file of an SQLite database; None for PostgreSQL."""
    return Path(make_url(url).database or "") if is_sqlite(url) else None


def opened_to_read(path: Path) -> Any:
    """A read-only connection of the driver to a file."""
    return sqlite_driver().connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)


def rows_in(file: Any) -> dict[str, int]:
    """How many rows each table of an SQLite connection has, except Alembic's own."""
    names = [name for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
    return {
        name: file.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]  # noqa: S608
        for name in names
        if name != REVISION_TABLE
    }


def begin(path: Path) -> None:
    """Make an empty file that nobody else may read, since it will hold names and hashes.

    Raises:
        OSError: it cannot be made, or exists already.
    """
    os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))


def copy_file(source: Any, path: Path) -> None:
    """Copy the database of an open SQLite connection by SQLite's backup, to one file without a log."""
    with closing(sqlite_driver().connect(path)) as target:
        source.backup(target)
    in_one_file(path)


def in_one_file(path: Path) -> None:
    """Merge the log of an SQLite database into its file."""
    with closing(sqlite_driver().connect(path)) as file:
        file.execute("PRAGMA journal_mode=DELETE")


def put_in_place(part: Path, path: Path) -> None:
    """Give a finished file its name durably: sync its content to the disk, rename it, and sync the folder."""
    _sync(part)
    part.replace(path)
    _sync(path.parent)


def clear(part: Path) -> None:
    """Delete an unfinished file, and the log and journal that SQLite may have left beside it."""
    for end in ("", "-journal", "-wal", "-shm"):
        part.with_name(part.name + end).unlink(missing_ok=True)


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
