"""Copying rows from one database to another, in both directions, and checking that all arrived.

The tables are read from the database and not from the models, so that a database at an older revision can be copied as
well. Between SQLite and PostgreSQL, PostgreSQL's column types are used, because SQLite's do not distinguish a UUID from
a text. JSON and UUIDs are copied as the text that SQLite stores: parsing and writing each value would be most of the
time of a backup of PostgreSQL.
"""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from typing import Any

from sqlalchemy import (
    JSON,
    Column,
    ColumnElement,
    Connection,
    DateTime,
    Integer,
    MetaData,
    Row,
    Table,
    Text,
    Uuid,
    bindparam,
    cast,
    event,
    func,
    insert,
    inspect,
    select,
    text,
    type_coerce,
)
from sqlalchemy.exc import DBAPIError
from sqlalchemy.types import TypeEngine

from service.kit.problems import Problem
from service.store.engine import Instant
from service.store.sessions import Store

BATCH = 1000
REVISION_TABLE = "alembic_version"


@dataclass(frozen=True)
class Content:
    """What a table holds: how many rows, and a digest of all of them that does not depend on their order."""

    rows: int
    digest: str


class Differs(Problem):
    """The copy differs from the original."""

    status = 500


@contextmanager
def snapshot(store: Store) -> Iterator[Connection]:
    """A read-only connection that sees the database as of one moment (a snapshot), however long reading takes."""
    options: dict[str, Any] = {}
    if store.reader.dialect.name == "postgresql":
        options = {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
    with store.reader.connect().execution_options(**options) as connection:
        _without_time_limit(connection)
        yield connection


def row_counts(connection: Connection) -> dict[str, int]:
    """How many rows each table has, except Alembic's own; empty if there is no table."""
    preparer = connection.dialect.identifier_preparer
    names = sorted(set(inspect(connection).get_table_names()) - {REVISION_TABLE})
    return {
        name: connection.scalar(text(f"SELECT count(*) FROM {preparer.quote(name)}")) or 0  # noqa: S608
        for name in names
    }


def carry(source: Connection, target: Connection) -> dict[str, Content]:
    """Copy every row of every table into the same tables of `target`, and return what each table holds.

    The tables of `target` must be empty and at the same revision. Nothing is committed here; the caller commits.

    Raises:
        Problem: a row does not fit the target; the sentence names its table.
        Differs: a table differs afterwards.
    """
    _without_time_limit(target)
    tables = _tables(source if source.dialect.name == "postgresql" else target)
    sent = {table.name: _copy(source, target, table) for table in tables}
    arrived = contents(target, tables)
    if sent != arrived:
        names = ", ".join(sorted(name for name in sent if sent[name] != arrived[name]))
        raise Differs(f"After the copy these tables are not the same on both sides: {names}. Nothing was kept.")
    return arrived


def has_content(connection: Connection, of: Connection, known: Mapping[str, Content]) -> bool:
    """Whether a database still has the content `known`; rows are read with the column types of the database `of`."""
    return contents(connection, _tables(of)) == known


def contents(connection: Connection, tables: Sequence[Table]) -> dict[str, Content]:
    """What each table holds."""
    return {table.name: _content(_stream(connection, table)) for table in tables}


def _tables(connection: Connection) -> list[Table]:
    """The tables of a database, in the order of their references, with column types that both engines know."""
    metadata = MetaData()

    @event.listens_for(metadata, "column_reflect")
    def _plain(_inspector: Any, _table: Table, column: Any) -> None:
        column["type"] = _plain_type(column["type"])

    metadata.reflect(connection)
    return [table for table in metadata.sorted_tables if table.name != REVISION_TABLE]


def _plain_type(kind: TypeEngine[Any]) -> TypeEngine[Any]:
    if isinstance(kind, DateTime):
        return Instant()
    return JSON() if isinstance(kind, JSON) else kind.as_generic()


def _copy(source: Connection, target: Connection, table: Table) -> Content:
    tally, write = _Tally(), _copied_in if target.dialect.name == "postgresql" else _inserted
    try:
        for rows in _stream(source, table):
            tally.add(rows)
            write(target, table, rows)
        _count_on(target, table)
    except (DBAPIError, ValueError, target.dialect.loaded_dbapi.Error) as error:
        reason = error.orig if isinstance(error, DBAPIError) else error
        raise Problem(f"A row of the table {table.name} could not be copied: {reason}. Nothing was kept.") from error
    return tally.content


def _copied_in(target: Connection, table: Table, rows: Sequence[Row[Any]]) -> None:
    """Write rows by PostgreSQL's COPY: one statement for each row takes several times as long."""
    quoted = target.dialect.identifier_preparer
    names = ", ".join(quoted.quote(column.name) for column in table.columns)
    with (
        closing(target.connection.cursor()) as cursor,
        cursor.copy(f"COPY {quoted.quote(table.name)} ({names}) FROM STDIN") as copy,
    ):
        for row in rows:
            copy.write_row(row)


def _inserted(target: Connection, table: Table, rows: Sequence[Row[Any]]) -> None:
    names = table.columns.keys()
    as_text = {
        column.name: bindparam(column.name, type_=Text())
        for column in table.columns
        if isinstance(column.type, JSON | Uuid)
    }
    into = insert(table).values(as_text)
    target.execute(into, [dict(zip(names, row, strict=True)) for row in rows])


def _count_on(target: Connection, table: Table) -> None:
    """Let PostgreSQL number new rows after the highest copied key; SQLite does so by itself."""
    if target.dialect.name != "postgresql":
        return
    quoted = target.dialect.identifier_preparer.quote(table.name)
    for column in table.primary_key:
        if isinstance(column.type, Integer) and not column.foreign_keys:
            highest = select(func.max(column)).scalar_subquery()
            sequence = func.pg_get_serial_sequence(quoted, column.name)
            target.execute(select(func.setval(sequence, highest)).where(highest.is_not(None), sequence.is_not(None)))


def _stream(connection: Connection, table: Table) -> Iterator[Sequence[Row[Any]]]:
    read = select(*(_read(connection, column) for column in table.columns))
    return connection.execute(read, execution_options={"yield_per": BATCH}).partitions(BATCH)


def _read(connection: Connection, column: Column[Any]) -> ColumnElement[Any]:
    """A column, JSON and UUIDs as text."""
    if isinstance(column.type, JSON):
        return cast(column, Text)
    if isinstance(column.type, Uuid):
        if connection.dialect.name == "postgresql":
            return func.replace(cast(column, Text), "-", "")
        return type_coerce(column, Text)
    return column


def _content(batches: Iterator[Sequence[Row[Any]]]) -> Content:
    tally = _Tally()
    for rows in batches:
        tally.add(rows)
    return tally.content


class _Tally:
    """Sums the digests of rows: the sum does not depend on their order, and a duplicate row counts twice."""

    def __init__(self) -> None:
        self._rows = 0
        self._sum = 0

    def add(self, rows: Sequence[Row[Any]]) -> None:
        for row in rows:
            digest = hashlib.sha256(repr(tuple(row)).encode())  # a value's `repr` tells its type
            self._sum += int.from_bytes(digest.digest(), "big")
        self._rows += len(rows)

    @property
    def content(self) -> Content:
        return Content(self._rows, f"{self._sum % 2**256:064x}")


def _without_time_limit(connection: Connection) -> None:
    """Remove the time limit on statements, which is meant for pages."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SET LOCAL statement_timeout = 0"))
