"""How Alembic runs our migrations.

SQLite alters a table by copying it. With foreign keys on, that copy once deleted the rows of every table that refers
to it, so they are off while a migration runs, before its transaction begins, and checked before it commits.
"""

import os
from typing import Literal

from alembic import context
from sqlalchemy import Connection, text

from service.settings import read_settings
from service.store.engine import Instant, NullableJson, is_sqlite, write_engine
from service.tables import metadata


def as_plain_type(kind: str, thing: object, _context: object) -> str | Literal[False]:
    """Write our own types as the plain ones beneath them: a migration must not change when our code does."""
    if kind == "type" and isinstance(thing, Instant):
        return "sa.DateTime(timezone=True)"
    if kind == "type" and isinstance(thing, NullableJson):
        return "sa.JSON()"
    return False


def run(connection: Connection, sqlite: bool) -> None:
    """Run what is to be run in one transaction."""
    context.configure(
        connection=connection,
        target_metadata=metadata,
        render_as_batch=True,
        compare_type=True,
        render_item=as_plain_type,
        transaction_per_migration=False,
    )
    with context.begin_transaction():
        if not sqlite:
            # One host at a time (SQLite's transaction sees to that by itself), and for as long as it takes.
            connection.execute(text("SET LOCAL statement_timeout = 0; SET LOCAL lock_timeout = 0"))
            connection.execute(text("SELECT pg_advisory_xact_lock(hashtext('coilbook migrations'))"))
        context.run_migrations()
        if sqlite:
            broken = connection.execute(text("PRAGMA foreign_key_check")).fetchall()
            if broken:
                raise RuntimeError(f"the migration broke references: {broken[:5]}")


def main() -> None:
    """Migrate the database that the command names, or the one of the settings."""
    attributes = context.config.attributes
    given = attributes.get("connection")
    if given is not None:
        run(given, given.dialect.name == "sqlite")
        return
    url = attributes.get("url")
    if url is None:
        url = read_settings(os.environ).database_url
    engine = write_engine(url)
    try:
        with engine.connect() as connection:
            if is_sqlite(url):
                # A pragma inside a transaction does nothing: it goes to the driver before SQLAlchemy begins.
                connection.connection.cursor().execute("PRAGMA foreign_keys=OFF")
            run(connection, is_sqlite(url))
            connection.commit()
    finally:
        engine.dispose()


main()
