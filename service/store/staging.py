"""Writing many rows to SQLite at once: they are staged in temporary tables, so the transaction only copies them.

Passing a row from Python to SQLite takes longer than writing it. So new rows are put into temporary tables of the
connection that is going to write them, before its transaction begins and while others write. The transaction then
copies each table with one statement. Rows are inserted in the order of their ids, so that neighbors go to the same
pages of the file: 5,000 pieces of gear (55,000 rows) take a fifth of the time that they take one by one.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any

from sqlalchemy import Table, Uuid
from sqlalchemy.orm import Session

Parameters = tuple[Any, ...]

_FEW = 20
"""For up to this many rows a temporary table does not pay."""
_MEGABYTES = 32
_PAGES = 1000
"""SQLite's own number of pages in the write-ahead log after which a commit moves them to the file."""


@dataclass(frozen=True)
class Recorded:
    """An SQL statement that writes to a table, and its rows: the parameters of each, and the number of the part of the
    work that it belongs to.

    `columns` are the columns of an INSERT, in the order of its parameters; an UPDATE or DELETE has none.
    """

    statement: str
    table: Table
    columns: tuple[str, ...]
    rows: list[tuple[Parameters, int]] = field(default_factory=list)


@dataclass(frozen=True)
class _Statement:
    """A statement that takes rows of any parts from a temporary table, or one with its own rows of a single part."""

    sql: str
    rows: Sequence[Parameters] = ()
    part: int | None = None


@dataclass(frozen=True)
class Staged:
    """Statements that are ready to be run."""

    _statements: Sequence[_Statement]

    def write(self, db: Session, without: Collection[int] = ()) -> None:
        """Run the statements in the session's transaction, except those of the parts `without`.

        Raises:
            sqlite3.IntegrityError: of the driver, if somebody has added the same row.
        """
        left_out = ", ".join(map(str, without))
        with closing(db.connection().connection.cursor()) as cursor:
            cursor.execute("PRAGMA defer_foreign_keys=ON")  # a row may be inserted before the row that it refers to
            for one in self._statements:
                if one.part is None:
                    cursor.execute(f"{one.sql} WHERE part NOT IN ({left_out}) ORDER BY rowid")
                elif one.part not in without:
                    cursor.executemany(one.sql, one.rows)


def merge_statements(written: Iterable[Recorded]) -> list[Recorded]:
    """The same writes in fewer statements. The writes to each table keep their order."""
    together, last = list[Recorded](), dict[str, Recorded]()
    for one in written:
        open_one = last.get(one.table.name)
        if open_one is None or open_one.statement != one.statement:
            open_one = last[one.table.name] = Recorded(one.statement, one.table, one.columns)
            together.append(open_one)
        open_one.rows.extend(one.rows)
    return together


@contextmanager
def staged(connection: Any, written: Iterable[Recorded]) -> Iterator[Staged]:
    """Put the rows into temporary tables of a connection of the driver that has no open transaction."""
    statements, tables = list[_Statement](), list[str]()
    try:
        # The pages that the transaction changes fit into memory, and the next transaction moves them from the
        # write-ahead log to the file: both would hold the lock longer.
        (cache,) = connection.execute("PRAGMA cache_size").fetchone()
        connection.execute(f"PRAGMA cache_size={-1024 * _MEGABYTES}")
        connection.execute("PRAGMA wal_autocheckpoint=0")
        connection.execute("BEGIN")
        try:
            for one in merge_statements(written):
                if one.columns and len(one.rows) > _FEW:
                    tables.append(f"temp.staged_{len(tables)}")
                    statements.append(_staged_in(connection, tables[-1], one))
                else:
                    statements += _with_own_rows(one)
        finally:
            connection.execute("COMMIT")
        yield Staged(statements)
    finally:
        for table in tables:
            connection.execute(f"DROP TABLE IF EXISTS {table}")
        connection.execute(f"PRAGMA cache_size={cache}")
        connection.execute(f"PRAGMA wal_autocheckpoint={_PAGES}")


def unstaged(written: Iterable[Recorded]) -> Staged:
    """The same without temporary tables, for when nobody waits."""
    return Staged([statement for one in merge_statements(written) for statement in _with_own_rows(one)])


def _staged_in(connection: Any, table: str, one: Recorded) -> _Statement:
    columns = ", ".join(f"c{at}" for at in range(len(one.columns)))
    marks = ", ".join("?" * (len(one.columns) + 1))
    connection.execute(f"CREATE TABLE {table} ({columns}, part)")
    rows = ((*row, part) for row, part in _by_key(one))
    connection.executemany(f"INSERT INTO {table} VALUES ({marks})", rows)  # noqa: S608  (table and column names are our own)
    into = one.statement.partition(" VALUES ")[0]
    return _Statement(f"{into} SELECT {columns} FROM {table}")  # noqa: S608


def _by_key(one: Recorded) -> list[tuple[Parameters, int]]:
    """New rows sorted by the key or id in their first column; the rows of one item keep their order, and so do rows
    without such a column (labels to print, the audit trail).
    """
    first = one.table.columns[one.columns[0]]
    if not (first.primary_key or isinstance(first.type, Uuid)):
        return one.rows
    return sorted(one.rows, key=lambda row: str(row[0][0]))


def _with_own_rows(one: Recorded) -> Iterator[_Statement]:
    """The same with NULL in the statement for None, and with str for its subclasses: for every other than the plain
    types the driver looks for adapters, which is slow.
    """
    parts = one.statement.split("?")
    for (part, empty), rows in groupby(one.rows, key=lambda row: (row[1], tuple(value is None for value in row[0]))):
        if len(parts) != len(empty) + 1:  # a "?" that is part of a text
            yield _Statement(one.statement, [row for row, _ in rows], part)
            continue
        marks = ["NULL" if none else "?" for none in empty]
        sql = parts[0] + "".join(mark + text for mark, text in zip(marks, parts[1:], strict=True))
        plain = [tuple(_plain(value) for value in row if value is not None) for row, _ in rows]
        yield _Statement(sql, plain, part)


def _plain(value: Any) -> Any:
    return str.__str__(value) if isinstance(value, str) else value
