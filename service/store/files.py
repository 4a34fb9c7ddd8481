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
    """A connection of the driver's to a file that it must not change."""
    return sqlite_driver().connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)


def rows_in(file: Any) -> dict[str, int]:
    """How many rows each table of an SQLite connection has, without Alembic's own."""
    names = [name for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
    return {
        name: file.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]  # noqa: S608
        for name in names
        if name != REVISION_TABLE
    }


def begin(path: Path) -> None:
    """Make an empty file that nobody else may read: names and hashes go into it.

    Raises:
        OSError: it cannot be made, or is there.
    """
    os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))


def copy_file(source: Any, path: Path) -> None:
    """Copy the database behind an open SQLite connection to a file by SQLite's own means, as one file without a log."""
    with closing(sqlite_driver().connect(path)) as target:
        source.backup(target)
    in_one_file(path)


def in_one_file(path: Path) -> None:
    """Put all of an SQLite database into its file, without a log beside."""
    with closing(sqlite_driver().connect(path)) as file:
        file.execute("PRAGMA journal_mode=DELETE")


def put_in_place(part: Path, path: Path) -> None:
    """Give a finished file its name durably: first the content, then the name is synced to the disk."""
    _sync(part)
    part.replace(path)
    _sync(path.parent)


def clear(part: Path) -> None:
    """Delete an unfinished file, and what SQLite kept beside it where it was cut short."""
    for end in ("", "-journal", "-wal", "-shm"):
        part.with_name(part.name + end).unlink(missing_ok=True)


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
