"""Fills every table of a database, at whatever revision it is, with rows that fit its constraints."""

import re
from collections import Counter
from datetime import UTC, date, datetime
from typing import Any
from uuid import uuid4

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Connection,
    Date,
    DateTime,
    Float,
    Integer,
    MetaData,
    Table,
    func,
    insert,
    select,
    text,
    types,
)

_SPECIAL: dict[tuple[str, str], Any] = {
    ("cause", "joint"): None,
    ("cause", "kind"): "item",
    ("heard", "heard"): "crossed",
    ("input_list", "event_id"): None,
    ("person", "role"): "lead",  # only leads and viewers have an address
    ("program", "id"): 1,
    ("round", "closes"): date(2026, 10, 1),
    ("season", "ends"): date(2026, 11, 1),
    ("tag", "place_id"): None,
}
"""Values that a table's CHECKs ask for beyond a list of words."""


def fill(connection: Connection) -> dict[str, int]:
    """Add a row to every table but Alembic's, and a second item for what speaks of two; how many rows each has."""
    tables = reflected(connection)
    made: dict[str, list[dict[str, Any]]] = {}
    for table in tables:
        if table.name != "alembic_version":
            made[table.name] = [_row(table, made) for _ in range(2 if table.name == "item" else 1)]
            connection.execute(insert(table), made[table.name])
    return counts(connection)


def counts(connection: Connection) -> dict[str, int]:
    """How many rows each table has."""
    return {
        table.name: connection.scalar(select(func.count()).select_from(table)) or 0 for table in reflected(connection)
    }


def reflected(connection: Connection) -> list[Table]:
    """The tables that are there, those that are referred to first."""
    metadata = MetaData()
    metadata.reflect(connection)
    return metadata.sorted_tables


def broken_references(connection: Connection) -> list[Any]:
    """Rows that refer to nothing; PostgreSQL never lets them be."""
    if connection.dialect.name != "sqlite":
        return []
    return list(connection.execute(text("PRAGMA foreign_key_check")))


def _row(table: Table, made: dict[str, list[dict[str, Any]]]) -> dict[str, Any]:
    row: dict[str, Any] = {}
    spoken_of: Counter[str] = Counter()
    for column in table.columns:
        if (table.name, column.name) in _SPECIAL:
            row[column.name] = _SPECIAL[table.name, column.name]
        elif column.foreign_keys:
            target = next(iter(column.foreign_keys)).column
            rows = made[target.table.name]
            row[column.name] = rows[spoken_of[target.table.name] % len(rows)][target.name]
            spoken_of[target.table.name] += 1
        else:
            row[column.name] = _value(table, column)
    return row


def _value(table: Table, column: Column[Any]) -> Any:
    words = _words(table, column.name)
    if words:
        return words[0]
    if isinstance(column.type, Boolean):
        return True
    if isinstance(column.type, BigInteger | Integer):
        return 1
    if isinstance(column.type, Float):
        return 0.5
    if isinstance(column.type, DateTime):
        return datetime(2026, 9, 1, 12, tzinfo=UTC)
    if isinstance(column.type, Date):
        return date(2026, 9, 1)
    if isinstance(column.type, JSON):
        return ["kept"]
    if isinstance(column.type, types.Uuid):
        return uuid4()
    # SQLite reflects a UUID as CHAR(32).
    return uuid4().hex if getattr(column.type, "length", None) == 32 else f"{table.name} {column.name}"


def _words(table: Table, column: str) -> list[str]:
    for constraint in table.constraints:
        if isinstance(constraint, CheckConstraint) and constraint.name == f"ck_{table.name}_{column}":
            return re.findall(r"'([^']*)'", str(constraint.sqltext))
    return []
