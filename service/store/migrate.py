"""Migrations: bringing a database to the newest revision (head), and finding its revision. Workers never run them.

Alembic is imported only to migrate: it would slow every start by a tenth.
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, column, inspect, select, table

from service.kit.problems import Problem
from service.settings import Settings
from service.store.sessions import Store, in_plain_words

if TYPE_CHECKING:
    from alembic.config import Config

ROOT = Path(__file__).parents[2]
_REVISION = re.compile(r'^(revision|down_revision) = "(\w+)"', re.MULTILINE)
_VERSION = table("alembic_version", column("version_num"))


def config(url: str) -> "Config":
    """Alembic's configuration for this database."""
    from alembic.config import Config

    settings = Config(toml_file=ROOT / "pyproject.toml")
    settings.attributes["url"] = url
    return settings


def upgrade(url: str, revision: str = "head") -> None:
    """Bring the database up to `revision`."""
    from alembic import command

    command.upgrade(config(url), revision)


def upgrade_on(connection: Connection, revision: str = "head") -> None:
    """Bring the database of a PostgreSQL connection up to `revision` as part of its transaction."""
    from alembic import command

    settings = config("")
    settings.attributes["connection"] = connection
    command.upgrade(settings, revision)


@cache
def head() -> str:
    """The newest revision that this code knows: the one that no other follows."""
    followed = set(_revisions().values())
    (newest,) = (revision for revision in _revisions() if revision not in followed)
    return newest


def is_known(revision: str) -> bool:
    """Whether this code knows the revision, so that it can upgrade a database from it."""
    return revision in _revisions()


@cache
def _revisions() -> dict[str, str | None]:
    """Each revision, and the one that it follows, as Alembic reads them: None for the first."""
    parents: dict[str, str | None] = {}
    for path in (ROOT / "migrations" / "versions").glob("*.py"):
        named = dict(_REVISION.findall(path.read_text()))
        parents[named["revision"]] = named.get("down_revision")
    return parents


def current(store: Store) -> str | None:
    """The revision of the database; None before the first migration."""
    with store.reader.connect() as connection:
        if not inspect(connection).has_table(_VERSION.name):
            return None
        revision: str | None = connection.scalar(select(_VERSION.c.version_num))
        return revision


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
