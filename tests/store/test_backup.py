"""Backups and restores: whole, checked, on both engines and from one into the other."""

import hashlib
import os
import shutil
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from threading import Event

import pytest
from sqlalchemy import Connection, text

from service.__main__ import main
from service.crew.models import AuditEntry
from service.kit.problems import Conflict, NotFound, Problem
from service.store import migrate
from service.store.backup import back_up, check, existing_store, last_backup, rotate
from service.store.checksums import checksum_file_of
from service.store.engine import sqlite_driver, write_engine
from service.store.restore import restore
from service.store.rotation import Keep
from service.store.rows import row_counts
from service.store.sessions import Store
from tests.store.filled import fill
from tests.support.program import START, Running, migrated
from tests.testlog.support import bench

NAME = "coilbook-20260921T220000Z.db"


@pytest.fixture
def filled(database_url: str) -> str:
    """A database with a row in every table."""
    migrated(database_url)
    with connected(database_url) as connection:
        fill(connection)
        connection.execute(text("DELETE FROM backup"))  # its number was not counted, and the next will be noted here
    return database_url


@contextmanager
def connected(url: str) -> Iterator[Connection]:
    """One transaction; no connection is left open after it."""
    engine = write_engine(url)
    with engine.begin() as connection:
        yield connection
    engine.dispose()


def rows(url: str) -> dict[str, int]:
    store = Store(url)
    with store.reader.connect() as connection:
        found = row_counts(connection)
    store.close()
    return found


def made(url: str, folder: Path, now: datetime = START) -> Path:
    with existing_store(url) as store:
        return back_up(store, folder, now).path


def test_a_backup_holds_every_row_and_is_noted_where_it_was_made(filled: str, tmp_path: Path) -> None:
    before = rows(filled)
    path = made(filled, tmp_path / "to")
    assert path.name == NAME
    assert sorted(path.parent.iterdir()) == [path, checksum_file_of(path)]
    assert path.stat().st_mode & 0o077 == 0
    found = check(path)
    assert found.tables == before
    assert found.revision == migrate.head()
    with existing_store(filled) as store, store.reading() as db:
        assert last_backup(db) == START


def test_a_restored_program_goes_on_as_if_nothing_had_been(program: Running, tmp_path: Path) -> None:
    at = bench(program, "xlr3")
    at.test(at.codes[0])
    path = made(program.store.url, tmp_path / "to")
    fresh = f"sqlite:///{tmp_path / 'fresh.db'}"
    assert restore(fresh, path, tmp_path, START).aside is None
    with existing_store(fresh) as store, store.reading() as db:
        seen = db.execute(text("SELECT name, zone FROM program")).one()
        assert tuple(seen) == ("Fernhollow Band Program", "America/New_York")
        assert db.scalar(text("SELECT count(*) FROM test")) == 1
        assert db.scalar(text("PRAGMA journal_mode")) == "delete"


def test_a_restore_replaces_only_when_told_and_keeps_what_was_there(filled: str, tmp_path: Path) -> None:
    path = made(filled, tmp_path / "to")
    there = rows(filled)
    with pytest.raises(Conflict, match="--replace"):
        restore(filled, path, tmp_path / "to", START)
    done = restore(filled, path, tmp_path / "to", START, replace=True)
    assert rows(filled) == check(path).tables == there | {"backup": 0}  # noted after it was made
    assert done.aside is not None
    assert "before-restore" in done.aside.name
    assert check(done.aside).tables == there
    with connected(filled) as connection:  # new rows find free numbers
        connection.execute(text("INSERT INTO audit_entry (at, action, subject) VALUES ('2026-09-21', 'x', 'y')"))


def test_a_backup_of_an_older_revision_is_brought_to_head(database_url: str, tmp_path: Path) -> None:
    migrate.upgrade(database_url, "0001")
    with connected(database_url) as connection:
        before = fill(connection)
    path = made(database_url, tmp_path / "to")
    assert check(path).revision != migrate.head()
    restore(database_url, path, tmp_path / "to", START, replace=True)
    after = rows(database_url)
    assert {table: after[table] for table in before if table != "alembic_version"} == {
        table: count for table, count in before.items() if table != "alembic_version"
    }
    with existing_store(database_url) as store:
        assert migrate.current(store) == migrate.head()


@pytest.mark.parametrize("mode", [None, 0o600, 0o640])
def test_a_restored_file_is_as_private_as_the_one_before(sqlite_url: str, tmp_path: Path, mode: int | None) -> None:
    migrated(sqlite_url)
    path = made(sqlite_url, tmp_path / "to")
    there = tmp_path / "there.db"
    if mode:
        there.write_bytes(path.read_bytes())
        there.chmod(mode)
    restore(f"sqlite:///{there}", path, tmp_path / "to", START, replace=True)
    assert there.stat().st_mode & 0o777 == (mode or 0o600)


def test_nothing_is_restored_under_a_running_service(program: Running, tmp_path: Path) -> None:
    path = made(program.store.url, tmp_path / "to")
    program.lead.get("/")
    with pytest.raises(Conflict, match="Stop the service"):
        restore(program.store.url, path, tmp_path / "to", START, replace=True)
    program.store.close()
    restore(program.store.url, path, tmp_path / "to", START, replace=True)
    assert program.lead.get("/").status_code == 200


def test_stale_logs_of_a_crashed_service_are_no_part_of_what_is_restored(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'coilbook.db'}"
    migrated(url)
    path = made(url, tmp_path / "to")
    store = Store(url)
    with store.writing() as db:
        db.execute(text("DELETE FROM backup"))
    crashed = tmp_path / "crashed"
    crashed.mkdir()
    for file in tmp_path.glob("coilbook.db*"):
        shutil.copy(file, crashed)
    store.close()
    assert (crashed / "coilbook.db-wal").stat().st_size
    restore(f"sqlite:///{crashed / 'coilbook.db'}", path, tmp_path / "to", START, replace=True)
    assert sorted(file.name for file in crashed.iterdir()) == ["coilbook.db"]


def test_a_damaged_database_is_kept_and_replaced(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'coilbook.db'}"
    migrated(url)
    with connected(url) as connection:
        fill(connection)
    path = made(url, tmp_path / "to")
    (tmp_path / "coilbook.db").write_bytes(b"scrambled" * 1000)
    with pytest.raises(Conflict, match="--replace"):
        restore(url, path, tmp_path, START)
    done = restore(url, path, tmp_path, START, replace=True)
    assert done.aside is not None
    assert done.aside.read_bytes().startswith(b"scrambled")
    assert rows(url) == check(path).tables


def spoiled(path: Path, sql: str) -> None:
    with closing(sqlite_driver().connect(path)) as file, file:
        file.execute(sql)


def test_only_a_whole_backup_of_ours_passes(sqlite_url: str, tmp_path: Path) -> None:
    migrated(sqlite_url)
    with connected(sqlite_url) as connection:
        fill(connection)
    good = made(sqlite_url, tmp_path / "to")

    def refused(words: str) -> None:
        with pytest.raises(Problem, match=words):
            check(bad)
        with pytest.raises(Problem, match=words):
            restore(sqlite_url, bad, tmp_path, START, replace=True)

    bad = tmp_path / "bad.db"
    with pytest.raises(NotFound):
        check(bad)
    for content, words in ((b"", "none of Coilbook"), (b"no database at all" * 99, "no whole backup")):
        bad.write_bytes(content)
        refused(words)
    for sql, words in (
        ("UPDATE alembic_version SET version_num = 'ffff'", "newer Coilbook"),
        ("DELETE FROM person", "refer to nothing"),
        ("DROP TABLE alembic_version", "none of Coilbook"),
    ):
        shutil.copy(good, bad)
        spoiled(bad, sql)
        refused(words)
    torn = bytearray(good.read_bytes())
    torn[len(torn) // 2 : len(torn) // 2 + 8192] = b"\xff" * 8192
    bad.write_bytes(torn)
    with pytest.raises(Problem, match=str(bad)):
        check(bad)
    bad.write_bytes(good.read_bytes()[:-20000])
    with pytest.raises(Problem, match=str(bad)):
        check(bad)


def test_what_stands_in_the_way_is_said_and_nothing_is_left(sqlite_url: str, tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="no database at"):
        made(sqlite_url, tmp_path)
    migrated(sqlite_url)
    (tmp_path / "taken").write_text("a file, no folder")
    with pytest.raises(Problem, match="cannot be written to"):
        made(sqlite_url, tmp_path / "taken")
    assert (tmp_path / "taken").read_text() == "a file, no folder"


def test_rotation_touches_backups_only_and_never_the_one_just_made(tmp_path: Path) -> None:
    for day in range(60):
        name = (START + timedelta(days=day)).strftime("coilbook-%Y%m%dT%H%M%SZ.db")
        (tmp_path / name).touch()
    for name in ("notes.txt", "coilbook.db", "coilbook-before-restore-20260101T000000Z.db"):
        (tmp_path / name).touch()
    oldest = tmp_path / NAME
    left, under_way = (
        tmp_path / ".coilbook-20260920T220000Z.db.7.part",
        tmp_path / ".coilbook-20260921T215900Z.db.8.part",
    )
    for part in (left, under_way):
        part.touch()
    os.utime(left, (0, 0))
    gone = rotate(tmp_path, Keep(1, 0, 0), oldest)  # made under a clock that went wrong
    assert len(gone) == 58
    assert not left.exists()
    assert under_way.exists()
    assert len(list(tmp_path.iterdir())) == 6
    assert oldest.exists()


def test_a_letter_that_became_another_one_is_seen(program: Running, tmp_path: Path) -> None:
    at = bench(program, "xlr3")
    at.test(at.codes[0], note="Quite good")
    path = back_up(program.store, tmp_path, START).path
    checksum = path.with_name(f"{path.name}.sha256")
    digest, _, name = checksum.read_text().partition("  ")
    assert name == f"{path.name}\n"
    assert digest == hashlib.sha256(path.read_bytes()).hexdigest()
    assert main(["backup", "--verify", str(path)]) == 0
    content = path.read_bytes()
    assert content.count(b"Quite good") == 1
    path.write_bytes(content.replace(b"Quite good", b"Quite food"))
    with pytest.raises(Problem, match="is not as it was written"):
        check(path)
    with pytest.raises(Problem, match="is not as it was written"):
        restore(f"sqlite:///{tmp_path / 'new.db'}", path, tmp_path, START)
    checksum.unlink()  # changed on purpose
    assert check(path).rows > 0


def test_a_checksum_goes_with_its_backup(program: Running, tmp_path: Path) -> None:
    old, new = (back_up(program.store, tmp_path, START + timedelta(days=days)).path for days in (0, 9))
    orphan = tmp_path / "coilbook-20200101T000000Z.db.sha256"  # cut short before the backup got its name
    orphan.touch()
    os.utime(orphan, (0, 0))
    assert rotate(tmp_path, Keep(0, 0, 0), new) == [old]
    assert sorted(each.name for each in tmp_path.glob("coilbook-*")) == [new.name, f"{new.name}.sha256"]
    assert not old.exists()


def test_rotation_passes_by_what_is_no_backup_and_names_what_it_cannot_delete(tmp_path: Path) -> None:
    made_now = tmp_path / NAME
    old, no_day, folder = (
        tmp_path / name
        for name in (
            "coilbook-20200101T000000Z.db",
            "coilbook-20209999T000000Z.db",
            "coilbook-20200102T000000Z.db",
        )
    )
    for path in (made_now, old, no_day):
        path.touch()
    folder.mkdir()
    assert rotate(tmp_path, Keep(0, 0, 0), made_now) == [old]
    assert sorted(tmp_path.iterdir()) == sorted([made_now, no_day, folder])
    part = tmp_path / ".coilbook-20200101T000000Z.db.7.part"
    part.mkdir()  # nobody can delete a folder as a file
    os.utime(part, (0, 0))
    old.touch()
    with pytest.raises(Problem, match=rf"{NAME} is whole.*{part}"):
        rotate(tmp_path, Keep(0, 0, 0), made_now)
    assert not old.exists()


def test_a_backup_under_load_holds_all_that_was_saved_before_it_began(program: Running, tmp_path: Path) -> None:
    enough, saved = Event(), []

    def save() -> None:
        while not enough.is_set():
            with program.store.writing() as db:
                db.add(AuditEntry(at=START, action="saved", subject="", detail=None))
            saved.append(1)

    with ThreadPoolExecutor(2) as pool:
        writers = [pool.submit(save) for _ in range(2)]
        try:
            for number in range(2):
                before = len(saved)
                path = made(program.store.url, tmp_path / "to", START + timedelta(days=number))
                assert before <= check(path).tables["audit_entry"] <= len(saved) + 2 + 2
        finally:
            enough.set()
        for writer in writers:
            writer.result()
    assert len(saved) > before > 0


def test_a_migration_backs_up_first_what_it_changes(
    database_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COILBOOK_DATABASE_URL", database_url)
    monkeypatch.setenv("COILBOOK_BACKUPS", str(tmp_path / "to"))
    migrate.upgrade(database_url, "0001")
    assert main(["migrate"]) == 0
    path, checksum = sorted((tmp_path / "to").iterdir())
    assert checksum == checksum_file_of(path)
    assert str(path) in capsys.readouterr().out
    assert check(path).revision == "0001"
    assert main(["migrate"]) == 0  # there is nothing to change, so nothing to back up
    assert sorted((tmp_path / "to").iterdir()) == [path, checksum]
