"""Migrations: bringing a database to the newest revision (head), and finding its revision. Workers never run them."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect

from service.kit.problems import Problem
from service.settings import Settings
from service.store.sessions import Store, in_plain_words

ROOT = Path(__file__).parents[2]


def config(url: str) -> Config:
    """Alembic's configuration for this database."""
    settings = Config(toml_file=ROOT / "pyproject.toml")
    settings.attributes["url"] = url
    return settings


def upgrade(url: str, revision: str = "head") -> None:
    """Bring the database up to `revision`."""
    command.upgrade(config(url), revision)


def upgrade_on(connection: Connection, revision: str = "head") -> None:
    """Bring the database of a PostgreSQL connection up to `revision` as part of its transaction."""
    settings = config("")
    settings.attributes["connection"] = connection
    command.upgrade(settings, revision)


def head() -> str:
    """The newest revision that this code knows."""
    return ScriptDirectory.from_config(config("")).get_current_head() or ""


def is_known(revision: str) -> bool:
    """Whether this code knows the revision, so that it can upgrade a database from it."""
    scripts = ScriptDirectory.from_config(config(""))
    return revision in {script.revision for script in scripts.walk_revisions()}


def current(store: Store) -> str | None:
    """The revision of the database; None before the first migration."""
    with store.reader.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def is_empty(store: Store) -> bool:
    """Whether the database has no table at all."""
    with store.reader.connect() as connection:
        return not inspect(connection).get_table_names()


@contextmanager
def opened(settings: Settings) -> Iterator[Store]:
    """The database, at head: an empty one is migrated, one at an older revision is refused."""
    store = Store(settings.database_url)
    try:
        with in_plain_words():
            if is_empty(store):
                upgrade(settings.database_url)
            elif current(store) != head():
                raise Problem("The database is not at the newest revision. Make a backup, then run: coilbook migrate")
            yield store
    finally:
        store.close()
