"""The demo's program, for tests that need a program in mid-season."""

from contextlib import closing
from pathlib import Path

from service.demo.actions import load
from service.store.files import in_one_file
from service.store.sessions import Store
from tests.support.made import made_once
from tests.support.program import START, migrated


def demo_file() -> Path:
    """The demo on SQLite in one file; make a copy to change it."""
    return made_once("demo.db", _make)


def _make(path: Path) -> None:
    migrated(f"sqlite:///{path}")
    with closing(Store(f"sqlite:///{path}")) as store:
        load(store, START)
    in_one_file(path)
