"""The demo's program, for tests that look at one in mid-season."""

from functools import cache
from pathlib import Path
from tempfile import mkdtemp

from service.demo.actions import load
from service.store.files import in_one_file
from service.store.sessions import Store
from tests.support.program import START, migrated


@cache
def demo_file() -> Path:
    """The demo on SQLite in one file, loaded once in each pytest worker; make a copy to change it."""
    path = Path(mkdtemp()) / "demo.db"
    migrated(f"sqlite:///{path}")
    store = Store(f"sqlite:///{path}")
    load(store, START)
    store.close()
    in_one_file(path)
    return path
