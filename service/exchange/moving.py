"""Moving a program to another database, between SQLite and PostgreSQL in either direction.

The source is only read, in one snapshot, and stays as it is. The copy is written in one transaction and compared table
by table, by row count and by a digest of every value with its type, before that transaction is committed. Then the
source is read once more, to find out whether a service still wrote to it meanwhile.
"""

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError

from service.kit.problems import Conflict, Problem
from service.store import migrate
from service.store.backup import existing_store
from service.store.rows import Content, carry, has_content, row_counts, snapshot
from service.store.sessions import Store


def move(url: str, to: str) -> dict[str, Content]:
    """Copy the program at `url` into the empty database at `to`; returns what each table holds.

    Raises:
        Problem: the source is not at head, a row does not fit, or something differs; nothing was written.
        Conflict: the target is not empty, or the source changed meanwhile.
        NotFound: there is no program at `url`.
    """
    with existing_store(url) as source:
        if migrate.current(source) != migrate.head():
            raise Problem("The database is not at the newest revision. Run: coilbook migrate")
        target = Store(to)
        try:
            return _into(source, target)
        except DBAPIError as error:
            raise Problem(f"The program could not be moved: {error.orig} Nothing was kept.") from error
        finally:
            target.close()


def _into(source: Store, target: Store) -> dict[str, Content]:
    if migrate.is_empty(target):
        migrate.upgrade(target.url)
    elif migrate.current(target) != migrate.head():
        raise Conflict("The database to move to is at another revision. Give one that is empty.")
    with target.writer.begin() as written:
        if any(row_counts(written).values()):
            raise Conflict("The database to move to is not empty. Give one that is; nothing was changed.")
        with snapshot(source) as read:
            arrived = carry(read, written)
        _unchanged(source, written, arrived)
    return arrived


def _unchanged(source: Store, written: Connection, arrived: dict[str, Content]) -> None:
    with snapshot(source) as again:
        typed = again if again.dialect.name == "postgresql" else written
        if not has_content(again, typed, arrived):
            raise Conflict("The program changed while it was moved, so nothing was kept. Stop the service, then move.")
