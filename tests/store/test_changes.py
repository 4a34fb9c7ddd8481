"""Results are used again as long as nothing was committed, by this process or another, and never after."""

from collections.abc import Iterator
from contextlib import closing
from uuid import uuid4

import pytest
from sqlalchemy import text

from service.store.changes import unless_changed
from service.store.sessions import Store
from tests.support.program import Running

RENAME = text("UPDATE program SET name = :name")
NAME = text("SELECT name FROM program")


@pytest.fixture
def other(program: Running) -> Iterator[Store]:
    """The same database as another process has it."""
    with closing(Store(program.store.url)) as store:
        yield store


def rename(store: Store) -> str:
    name = uuid4().hex
    with store.writing() as db:
        db.execute(RENAME, {"name": name})
    return name


def test_a_result_is_made_once_until_somebody_commits(program: Running, other: Store) -> None:
    made: list[str] = []

    def look(key: str = "name") -> str:
        def make() -> str:
            made.append(key)
            return str(db.scalar(NAME))

        with program.store.reading() as db:
            return unless_changed(db, key, make)

    first = look()
    assert [look(), look("another")] == [first, first]
    assert made == ["name", "another"]
    for store in (program.store, other):
        assert rename(store) == look() == look()
    assert made == ["name", "another", "name", "name"]


def test_a_session_that_writes_makes_it_anew(program: Running) -> None:
    with program.store.reading() as db:
        unless_changed(db, "name", lambda: "as read")
    with program.store.writing() as db:
        assert unless_changed(db, "name", lambda: "as written") == "as written"
    rename(program.store)
    with program.store.reading() as db:
        assert unless_changed(db, "name", lambda: "later") == "later"


def test_what_was_made_while_somebody_committed_is_not_used_again(program: Running, other: Store) -> None:
    """A session of SQLite goes on to see what it saw at first: its result is of the past."""
    rename(other)  # so that its connection is there: none is opened for the first time while somebody reads

    def make() -> str:
        before = str(db.scalar(NAME))
        rename(other)
        return before

    with program.store.reading() as db:
        unless_changed(db, "name", make)
    with program.store.reading() as db:
        assert unless_changed(db, "name", lambda: str(db.scalar(NAME))) == db.scalar(NAME)
