"""Migrations: one head, no drift, down and up, and rows survive."""

import pytest
from alembic import command
from alembic.script import ScriptDirectory
from sqlalchemy import Engine

from service.store import migrate
from service.store.engine import write_engine
from tests.store.filled import broken_references, counts, fill

REVISIONS = [script.revision for script in ScriptDirectory.from_config(migrate.config("")).walk_revisions()][::-1]


@pytest.fixture
def engine(database_url: str) -> Engine:
    return write_engine(database_url)


def test_there_is_one_head() -> None:
    assert len(ScriptDirectory.from_config(migrate.config("")).get_heads()) == 1


def test_the_models_and_the_migrations_agree(database_url: str) -> None:
    migrate.upgrade(database_url)
    command.check(migrate.config(database_url))


def test_every_step_goes_down_and_up_again(database_url: str) -> None:
    migrate.upgrade(database_url)
    for _ in REVISIONS:
        command.downgrade(migrate.config(database_url), "-1")
    for _ in REVISIONS:
        command.upgrade(migrate.config(database_url), "+1")


@pytest.mark.parametrize("revision", REVISIONS)
def test_rows_survive_from_every_revision(database_url: str, engine: Engine, revision: str) -> None:
    migrate.upgrade(database_url, revision)
    with engine.begin() as connection:
        before = fill(connection)
    assert all(count >= 1 for count in before.values())
    migrate.upgrade(database_url)
    with engine.begin() as connection:
        after = counts(connection)
        assert {table: after.get(table) for table in before} == before
        assert broken_references(connection) == []
    engine.dispose()
