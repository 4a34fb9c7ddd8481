"""Many rows into SQLite at once: laid out beside the database first, so that the transaction only copies them.

Handing a row to SQLite from Python takes longer than writing it. So new rows are put into temporary tables of the very
connection that is going to write them, before its transaction begins and while others write. The transaction then
copies each table with one statement. Rows go in by their ids, which keeps to the same pages of the file: 5,000
pieces of gear (55,000 rows) take a fifth of the time that they take one by one.
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
"""So many rows are not worth a table of their own."""


@dataclass(frozen=True)
class Recorded:
    """A statement of SQL that writes to a table, and the rows that it writes: the parameters of each, and the number of
    the part of the work that it belongs to.

    `columns` are those that an INSERT names, in the order of its parameters; an UPDATE or DELETE has none.
    """

    statement: str
    table: Table
    columns: tuple[str, ...]
    rows: list[tuple[Parameters, int]] = field(default_factory=list)


@dataclass(frozen=True)
class _Statement:
    """A statement whose rows come from a table, of the parts that `parts` leaves in; or, of one part, with its rows."""

    sql: str
    rows: Sequence[Parameters] = ()
    part: int | None = None


@dataclass(frozen=True)
class Staged:
    """Statements that are ready to be done."""

    _statements: Sequence[_Statement]

    def write(self, db: Session, without: Collection[int] = ()) -> None:
        """Write all of it in the transaction at hand, but for some parts.

        Raises:
            sqlite3.IntegrityError: of the driver, where somebody has added just this.
        """
        left_out = ", ".join(map(str, without))
        with closing(db.connection().connection.cursor()) as cursor:
            cursor.execute("PRAGMA defer_foreign_keys=ON")  # a row may come before the one that it refers to
            for one in self._statements:
                if one.part is None:
                    cursor.execute(f"{one.sql} WHERE part NOT IN ({left_out}) ORDER BY rowid")
                elif one.part not in without:
                    cursor.executemany(one.sql, one.rows)


def put_together(written: Iterable[Recorded]) -> list[Recorded]:
    """The same writes in fewer statements. What is written to one table stays in its order."""
    together, last = list[Recorded](), dict[str, Recorded]()
    for one in written:
        open_one = last.get(one.table.name)
        if open_one is None or open_one.statement != one.statement:
            open_one = last[one.table.name] = Recorded(one.statement, one.table, one.columns)
            together.append(open_one)
        open_one.rows.extend(one.rows)
    return together


@contextmanager
def laid_out(connection: Any, written: Iterable[Recorded]) -> Iterator[Staged]:
    """Lay writes out in temporary tables of a connection of the driver, which has no transaction open."""
    statements, tables = list[_Statement](), list[str]()
    try:
        connection.execute("BEGIN")
        try:
            for one in put_together(written):
                if one.columns and len(one.rows) > _FEW:
                    tables.append(f"temp.staged_{len(tables)}")
                    statements.append(_laid_out_in(connection, tables[-1], one))
                else:
                    statements += _as_they_are(one)
        finally:
            connection.execute("COMMIT")
        yield Staged(statements)
    finally:
        for table in tables:
            connection.execute(f"DROP TABLE IF EXISTS {table}")


def at_once(written: Iterable[Recorded]) -> Staged:
    """The same without laying anything out, where nobody waits."""
    return Staged([statement for one in put_together(written) for statement in _as_they_are(one)])


def _laid_out_in(connection: Any, table: str, one: Recorded) -> _Statement:
    columns = ", ".join(f"c{at}" for at in range(len(one.columns)))
    marks = ", ".join("?" * (len(one.columns) + 1))
    connection.execute(f"CREATE TABLE {table} ({columns}, part)")
    rows = ((*row, part) for row, part in _by_key(one))
    connection.executemany(f"INSERT INTO {table} VALUES ({marks})", rows)  # noqa: S608  (all of it is ours)
    into = one.statement.partition(" VALUES ")[0]
    return _Statement(f"{into} SELECT {columns} FROM {table}")  # noqa: S608


def _by_key(one: Recorded) -> list[tuple[Parameters, int]]:
    """New rows in the order of the key or the id that comes first in them, each item's still in theirs; other rows
    (labels to print, the audit trail) as they came.
    """
    first = one.table.columns[one.columns[0]]
    if not (first.primary_key or isinstance(first.type, Uuid)):
        return one.rows
    return sorted(one.rows, key=lambda row: str(row[0][0]))


def _as_they_are(one: Recorded) -> Iterator[_Statement]:
    """The same with NULL in the statement for None, and str for its subclasses: for these, as for all but the plain
    types, the driver asks a dozen methods whether they can be adapted.
    """
    parts = one.statement.split("?")
    for (part, empty), rows in groupby(one.rows, key=lambda row: (row[1], tuple(value is None for value in row[0]))):
        if len(parts) != len(empty) + 1:  # a ? of its own stands in a text
            yield _Statement(one.statement, [row for row, _ in rows], part)
            continue
        marks = ["NULL" if none else "?" for none in empty]
        sql = parts[0] + "".join(mark + text for mark, text in zip(marks, parts[1:], strict=True))
        plain = [tuple(_plain(value) for value in row if value is not None) for row, _ in rows]
        yield _Statement(sql, plain, part)


def _plain(value: Any) -> Any:
    return str.__str__(value) if isinstance(value, str) else value
