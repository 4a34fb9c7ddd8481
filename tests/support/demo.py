"""The demo's program, for tests that look at one in mid-season."""

from functools import cache
from pathlib import Path
from tempfile import mkdtemp

from service.demo.actions import load
from service.store.sessions import Store
from tests.support.program import START, migrated


@cache
def demo_file() -> Path:
    """The demo on SQLite in one file, loaded once in each pytest worker; make a copy to change it."""
    path = Path(mkdtemp()) / "demo.db"
    migrated(f"sqlite:///{path}")
    store = Store(f"sqlite:///{path}")
    load(store, START)
    with store.writer.connect() as connection:
        connection.exec_driver_sql("COMMIT")
        connection.exec_driver_sql("PRAGMA journal_mode=DELETE")
        connection.exec_driver_sql("BEGIN")
    store.close()
    return path
