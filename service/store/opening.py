"""Opening a program's database for a command."""

from collections.abc import Iterator
from contextlib import contextmanager

from service.kit.problems import Problem
from service.settings import Settings
from service.store import migrate
from service.store.sessions import Store, told_plainly


@contextmanager
def opened(settings: Settings) -> Iterator[Store]:
    """The database, at head: an empty one is migrated, one that is behind is refused."""
    store = Store(settings.database_url)
    try:
        with told_plainly():
            if migrate.is_empty(store):
                migrate.upgrade(settings.database_url)
            elif migrate.current(store) != migrate.head():
                raise Problem("The database is not at the newest revision. Make a backup, then run: coilbook migrate")
            yield store
    finally:
        store.close()
