"""What keeps us from saving is told until something was really saved again."""

import resource
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from service.crew.models import Program
from service.store.disk_space import CannotSave
from service.store.sessions import Store
from tests.support.program import running


@contextmanager
def files_of_one_page() -> Iterator[None]:
    """Every write beyond the first page of a file fails, as on a disk with errors."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_transaction_that_writes_nothing_does_not_end_the_trouble(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        store: Store = program.store
        with files_of_one_page():
            with pytest.raises(CannotSave), store.writing() as db:
                db.query(Program).update({"return_note": "x" * 9_000})
            with pytest.raises(CannotSave), store.writing():
                pass
            assert store.trouble()
        with store.writing():
            pass
        assert store.trouble() is None
