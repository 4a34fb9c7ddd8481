"""Exporting the whole program as JSON, and importing it into an empty program."""

import json
from collections.abc import Iterator
from datetime import datetime
from itertools import groupby
from typing import Any, TextIO

from sqlalchemy import Table
from sqlalchemy.orm import Session

from service.exchange.whole import queries
from service.exchange.whole.core import VERSION, ColumnKind, FileRow, Reader, read_value, write_row, write_value
from service.kit.problems import Conflict, Problem
from service.store import migrate

_PIECE = 500


def export(db: Session, now: datetime) -> Iterator[str]:
    """The program as JSON, in pieces, as of one moment, without the secrets by which people sign in."""
    queries.one_moment(db)
    yield f'{{"coilbook": {VERSION}, "revision": {json.dumps(migrate.head())}, '
    yield f'"exported_at": {json.dumps(write_value(now))}, "tables": {{'
    for number, table in enumerate(queries.tables()):
        yield f"{',' * bool(number)}\n{json.dumps(table.name)}: ["
        for at, row in enumerate(queries.rows(db, table)):
            yield f"{',' if at else ''}\n{write_row(row)}"
        yield "\n]"
    yield "\n}}\n"


def import_program(db: Session, stream: TextIO) -> dict[str, int]:
    """Import an export into an empty program; returns the number of rows of each table.

    Raises:
        Conflict: the program is not empty.
        Problem: naming the wrong line, table and row.
    """
    full = queries.filled(db)
    if full is not None:
        raise Conflict(
            f"This program is not empty: there is something in “{full}” already. Import into a new database: set "
            "COILBOOK_DATABASE_URL to one that does not exist yet."
        )
    reader = Reader(stream)
    _check_revision(reader.head().get("revision"))
    queries.clear_initial_rows(db)
    known = {table.name: table for table in queries.tables()}
    counts = dict.fromkeys(known, 0)
    for name, rows in groupby(reader.rows(), lambda row: row.table):
        counts[name] = counts.get(name, 0) + _add(db, known.get(name), rows)
    if counts["program"] != 1:
        raise Problem(f"An export has one row in “program”; this one has {counts['program']}. Export it once more.")
    queries.end_first_links(db)
    for table in known.values():
        queries.continue_numbering(db, table)
    return counts


def _check_revision(revision: object) -> None:
    if not isinstance(revision, str) or not migrate.is_known(revision):
        raise Problem(
            "This export has tables that this Coilbook does not know yet. Bring Coilbook up to date, "
            "then import it again."
        )


def _add(db: Session, table: Table | None, rows: Iterator[FileRow]) -> int:
    piece, count = list[FileRow](), 0
    for row in rows:
        if table is None:
            raise Problem(f"{_where(row)}: a program has no such table. Export it once more.")
        piece.append(row)
        if len(piece) == _PIECE:
            count += _add_piece(db, table, piece)
            piece = []
    return count + (_add_piece(db, table, piece) if table is not None and piece else 0)


def _add_piece(db: Session, table: Table, piece: list[FileRow]) -> int:
    kinds = queries.kinds(table)
    refused = queries.add(db, table, [_values(row, table, kinds) for row in piece])
    if refused is not None:
        raise Problem(
            f"{_where(piece[refused])}: the database does not take it. It refers to something that is not in the file, "
            "or its key or a value is wrong or there twice. Export the program once more."
        )
    return len(piece)


def _values(row: FileRow, table: Table, kinds: dict[str, ColumnKind]) -> dict[str, Any]:
    """A row's values by column; columns that an older export lacks have their default, else they are empty."""
    values: dict[str, Any] = {}
    for name in row.values:
        if name not in kinds:
            raise Problem(f"{_where(row)}: there is no column “{name[:40]}”. Export the program once more.")
    for name, kind in kinds.items():
        try:
            values[name] = read_value(kind, row.values.get(name))
        except ValueError as error:
            shown = json.dumps(row.values[name], ensure_ascii=False)[:60]
            raise Problem(f"{_where(row)}: “{name}” is {shown}, and must be {kind}.") from error
        if name not in row.values:
            values[name] = queries.default_of(table, name)
        if values[name] is None and not table.columns[name].nullable:
            raise Problem(f"{_where(row)}: “{name}” is missing.")
    return values


def _where(row: FileRow) -> str:
    return f"Line {row.line}, table {row.table[:40]}, row {row.number}"
