"""The engine's settings: what keeps a commit a commit."""

import threading
from datetime import UTC, datetime, timedelta, timezone
from uuid import uuid4

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import StatementError

from service.crew.models import AuditEntry
from service.kit.problems import Busy, Problem
from service.store.engine import sqlite_driver, wal_is_safe
from service.store.sessions import Store
from tests.support.program import Running, migrated


@pytest.mark.parametrize(
    ("version", "safe"),
    [
        ((3, 40, 1), False),
        ((3, 44, 5), False),
        ((3, 44, 6), True),
        ((3, 45, 0), False),
        ((3, 50, 6), False),
        ((3, 50, 7), True),
        ((3, 51, 2), False),
        ((3, 51, 3), True),
        ((3, 52, 0), False),
        ((3, 52, 1), True),
        ((3, 53, 4), True),
    ],
)
def test_wal_is_used_only_with_its_fix(version: tuple[int, ...], safe: bool) -> None:
    # SQLite's release notes: fixed in 3.51.3, back-ported to 3.44.6 and 3.50.7; 3.52.0 was withdrawn.
    assert wal_is_safe(version) is safe


def test_every_connection_of_sqlite_is_set_up(sqlite_url: str) -> None:
    migrated(sqlite_url)
    store = Store(sqlite_url)
    journal = "wal" if wal_is_safe(sqlite_driver().sqlite_version_info) else "delete"
    expected = {"journal_mode": journal, "synchronous": 2, "foreign_keys": 1, "busy_timeout": 2500, "trusted_schema": 0}
    with store.writing() as db:
        assert {name: db.scalar(text(f"PRAGMA {name}")) for name in expected} == expected
    store.close()


def test_a_reading_session_cannot_write(sqlite_url: str) -> None:
    migrated(sqlite_url)
    store = Store(sqlite_url)
    with pytest.raises(Busy), store.reading() as db:
        db.execute(text("DELETE FROM person"))
    store.close()


def test_what_is_raised_rolls_back(program: Running) -> None:
    class Refused(Problem):
        pass

    def half() -> None:
        with program.store.writing() as db:
            db.add(AuditEntry(at=program.clock.now, action="half", subject="", detail=None))
            db.flush()
            raise Refused("no")

    with pytest.raises(Refused):
        half()
    with program.store.reading() as db:
        assert db.scalar(select(AuditEntry.id).where(AuditEntry.action == "half")) is None


def test_writers_that_read_first_lose_nothing(sqlite_url: str) -> None:
    # With deferred transactions most of these are refused as busy at once; with the driver's own, updates are lost.
    migrated(sqlite_url)
    store = Store(sqlite_url)
    with store.writing() as db:
        db.execute(text("CREATE TABLE tally (n INTEGER)"))
        db.execute(text("INSERT INTO tally VALUES (0)"))

    def count() -> None:
        for _ in range(25):
            with store.writing() as db:
                seen = db.scalar(text("SELECT n FROM tally"))
                db.execute(text("UPDATE tally SET n = :n"), {"n": (seen or 0) + 1})

    threads = [threading.Thread(target=count) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with store.reading() as db:
        assert db.scalar(text("SELECT n FROM tally")) == 200
    store.close()


def test_an_instant_comes_back_in_utc(program: Running) -> None:
    told = datetime(2026, 9, 1, 1, 30, tzinfo=timezone(timedelta(hours=-6)))
    with program.store.writing() as db:
        db.add(AuditEntry(at=told, action=str(uuid4()), subject="", detail={"a": [1]}))
    with program.store.reading() as db:
        entry = db.scalars(select(AuditEntry).order_by(AuditEntry.id.desc())).first()
    assert entry is not None
    assert entry.at == told
    assert entry.at.tzinfo is UTC
    assert entry.detail == {"a": [1]}


def test_a_naive_instant_is_refused(program: Running) -> None:
    naive = AuditEntry(at=datetime(2026, 9, 1), action="x", subject="", detail=None)  # noqa: DTZ001
    with pytest.raises(StatementError, match="needs an offset"), program.store.writing() as db:
        db.add(naive)
