"""C7 and C8: killed in the middle of a migration, a backup or a restore, everything is as before, or done."""

import os
import signal
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import Connection, select

from service.store import migrate
from service.store.backup import back_up, check, existing_store
from service.store.engine import is_sqlite, write_engine
from service.store.restore import restore
from service.tables import metadata
from tests.store.filled import broken_references, counts, fill
from tests.support.forked import ForkedPython
from tests.support.program import START, migrated

# Runs a command line and kills itself at the n-th statement that goes to a database, or just before its commit.
AT_A_STATEMENT = """
import os, signal, sys
from itertools import count
from sqlalchemy import Engine, event
from service.__main__ import main
last, seen = int(sys.argv[1]), count(1)
def die(*_):
    if next(seen) == last:
        os.kill(os.getpid(), signal.SIGKILL)
event.listen(Engine, "before_cursor_execute", die)
event.listen(Engine, "commit", lambda _connection: last or os.kill(os.getpid(), signal.SIGKILL))
sys.exit(main(sys.argv[2:]))
"""

# The same for the migration alone, without the backup that the command makes before it.
OF_A_MIGRATION = AT_A_STATEMENT.replace(
    "sys.exit(main(sys.argv[2:]))",
    "from service.store import migrate; migrate.upgrade(os.environ['COILBOOK_DATABASE_URL'])",
)

# Runs a command line and kills itself at the n-th call of what makes a file last.
AT_A_SYNC = """
import os, pathlib, signal, sys
from itertools import count
from service.__main__ import main
last, seen = int(sys.argv[1]), count(1)
def dying(call):
    def called(*arguments):
        if next(seen) == last:
            os.kill(os.getpid(), signal.SIGKILL)
        return call(*arguments)
    return called
os.fsync, os.link = dying(os.fsync), dying(os.link)
pathlib.Path.replace = dying(pathlib.Path.replace)
pathlib.Path.rename = dying(pathlib.Path.rename)
sys.exit(main(sys.argv[2:]))
"""


def run(script: str, at: int, url: str, folder: Path, *words: str) -> int:
    """Run a command that is killed at a point of its way; its status, 0 where it got through."""
    environ = os.environ | {"COILBOOK_DATABASE_URL": url, "COILBOOK_BACKUPS": str(folder)}
    return ForkedPython("-c", script, str(at), *words, environ=environ).wait()


@pytest.fixture
def old(database_url: str) -> tuple[str, dict[str, int]]:
    """A database at the first revision with a row in every table, and their counts."""
    migrate.upgrade(database_url, "0001")
    engine = write_engine(database_url)
    with engine.begin() as connection:
        there = fill(connection)
    engine.dispose()
    return database_url, there


@pytest.mark.parametrize("at", [9, 0], ids=["midway", "before the commit"])
def test_a_killed_migration_leaves_the_revision_before_and_every_row(
    old: tuple[str, dict[str, int]], tmp_path: Path, at: int
) -> None:
    url, before = old
    assert run(OF_A_MIGRATION, at, url, tmp_path) == -signal.SIGKILL
    with existing_store(url) as store:
        assert migrate.current(store) == "0001"
        with store.reader.connect() as connection:
            assert counts(connection) == before
    migrate.upgrade(url)
    with existing_store(url) as store, store.reader.connect() as connection:
        assert migrate.current(store) == migrate.head()
        after = counts(connection)
        assert {table: after[table] for table in before} == before
        assert broken_references(connection) == []


def test_a_killed_first_start_starts_anew(sqlite_url: str, tmp_path: Path) -> None:
    assert run(OF_A_MIGRATION, 30, sqlite_url, tmp_path) == -signal.SIGKILL
    assert run(OF_A_MIGRATION, -1, sqlite_url, tmp_path) == 0


def content(connection: Connection) -> dict[str, list[str]]:
    return {table.name: sorted(map(repr, connection.execute(select(table)))) for table in metadata.sorted_tables}


@pytest.fixture
def kept(database_url: str, tmp_path: Path) -> tuple[str, Path]:
    """A filled database and a good backup of it."""
    migrated(database_url)
    engine = write_engine(database_url)
    with engine.begin() as connection:
        fill(connection)
        connection.execute(metadata.tables["backup"].delete())
    engine.dispose()
    with existing_store(database_url) as store:
        return database_url, back_up(store, tmp_path / "backups", START - timedelta(days=9)).path


def test_a_killed_backup_leaves_the_older_one_and_no_other(kept: tuple[str, Path]) -> None:
    url, good = kept
    folder, bytes_before = good.parent, good.read_bytes()
    syncs = range(1, 6) if is_sqlite(url) else [3]  # the steps that make a file last know of no engine
    scripts = [(AT_A_STATEMENT, 12), *((AT_A_SYNC, number) for number in syncs)]
    for script, at in scripts:
        assert run(script, at, url, folder, "backup") == -signal.SIGKILL
        assert list(folder.glob("coilbook-*.db")) == [good]
        assert good.read_bytes() == bytes_before
    assert run(AT_A_SYNC, 6, url, folder, "backup") == -signal.SIGKILL  # it has its name: it must be whole
    [newer] = [path for path in folder.glob("coilbook-*.db") if path != good]
    assert check(newer).rows == check(good).rows + 1
    assert run(AT_A_SYNC, 0, url, folder, "backup") == 0


def test_a_killed_restore_leaves_the_old_database_or_the_new_and_the_old_beside(
    kept: tuple[str, Path],
) -> None:
    url, good = kept
    before = check(good).rows + 1
    ways = range(1, 5) if is_sqlite(url) else [1]
    for at in ways:
        script = AT_A_SYNC if is_sqlite(url) else AT_A_STATEMENT
        point = at if is_sqlite(url) else 150
        assert run(script, point, url, good.parent, "restore", str(good), "--replace") == -signal.SIGKILL
        with existing_store(url) as store, store.reader.connect() as connection:
            rows = sum(map(len, content(connection).values()))
            assert rows in (before, before - 1)
    done = restore(url, good, good.parent, START, replace=True)
    assert done.contents.rows == before - 1
    assert done.aside is not None
    assert check(done.aside).rows in (before, before - 1)
