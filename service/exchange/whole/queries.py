"""Reading and writing the tables that make up the program, one at a time."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from sqlalchemy import Boolean, Date, Integer, Select, String, Table, Uuid, delete, func, insert, select, text
from sqlalchemy.exc import DataError, IntegrityError
from sqlalchemy.orm import Session
from sqlalchemy.sql.schema import ScalarElementColumnDefault

from service.crew.models import AuditEntry, CrewPass, Program
from service.crew.passphrases import models as passphrases
from service.exchange.handover import models as handover
from service.exchange.whole.core import ColumnKind
from service.gear import models as gear
from service.lines.checks import models as line_checks
from service.lines.drills import models as drills
from service.lines.inputs import models as input_lists
from service.retire.decisions import models as decisions
from service.retire.lists import models as pull_lists
from service.retire.spares import models as spares
from service.retire.standings import models as standings
from service.rig import models as rigs
from service.schedule.calendar import models as calendar
from service.schedule.reminders import models as reminders
from service.season import models as season
from service.store import receipts
from service.store.base import Base
from service.store.engine import Instant, NullableJson
from service.swaps import models as swaps
from service.tags import models as tags
from service.testlog import models as testlog
from service.wear import models as wear

# Every model must be imported here: otherwise its table would be left out of the export unnoticed.
_MODELS = (
    calendar,
    decisions,
    drills,
    gear,
    handover,
    input_lists,
    line_checks,
    passphrases,
    pull_lists,
    receipts,
    reminders,
    rigs,
    season,
    spares,
    standings,
    swaps,
    tags,
    testlog,
    wear,
)

LEFT_OUT = frozenset(
    {
        "sign_in",
        "crew_pass",
        "calendar_link",
        "hand_over",
        "sign_in_try",
        "lease",
        "backup",
        "wear_fit",
        "idle_chore",
        "item_standing",
    }
)
"""Tables that are not exported: secrets for signing in and for feeds, tries of passphrases, leases, the backups on
this computer, the fit of wear and the standings of items, which are made again from the log, and which chores had
nothing to do.
"""
LEFT_OUT_COLUMNS = frozenset({("person", "passphrase_hash")})
_INITIAL_TABLES = frozenset({"program", "audit_entry"})
"""Tables in which a start of the service writes rows: a program with rows only in these is still empty."""
_PIECE = 1000


def tables() -> list[Table]:
    """The tables of an export, in the order of their references."""
    return [table for table in Base.metadata.sorted_tables if table.name not in LEFT_OUT]


def kinds(table: Table) -> dict[str, ColumnKind]:
    """The exported columns of a table, and the kind of each."""
    columns = [column for column in table.columns if (table.name, column.name) not in LEFT_OUT_COLUMNS]
    return {column.name: _kind(column.type) for column in columns}


def default_of(table: Table, name: str) -> Any:
    """What a column holds where nothing is given; None if it has no such value."""
    default = table.columns[name].default
    return default.arg if isinstance(default, ScalarElementColumnDefault) else None


def _kind(of: object) -> ColumnKind:
    for types, kind in (
        (NullableJson, ColumnKind.FACTS),
        (Instant, ColumnKind.MOMENT),
        (Uuid, ColumnKind.ID),
        (Date, ColumnKind.DAY),
        (Boolean, ColumnKind.TRUTH),
        (Integer, ColumnKind.WHOLE),
        (String, ColumnKind.TEXT),
    ):
        if isinstance(of, types):
            return kind
    raise TypeError(f"An export has no way to write a column of {of!r} yet.")


def one_moment(db: Session) -> None:
    """Read all tables as of one moment (a snapshot); SQLite's reading transactions do so anyway."""
    if db.get_bind().dialect.name == "postgresql":
        db.connection(execution_options={"isolation_level": "REPEATABLE READ"})


def rows(db: Session, table: Table) -> Iterator[Mapping[str, Any]]:
    """Every row of a table, sorted by its key and read in chunks."""
    names = kinds(table)
    result = db.connection().execution_options(yield_per=_PIECE).execute(_in_order(db, table, list(names)))
    for row in result.mappings():
        yield {name: row[name] for name in names}


def _in_order(db: Session, table: Table, names: Sequence[str]) -> Select[*tuple[Any, ...]]:
    keys = []
    for key in table.primary_key:
        # PostgreSQL sorts text by the language of the database; an export is the same everywhere.
        plain = isinstance(key.type, String) and db.get_bind().dialect.name == "postgresql"
        keys.append(key.collate("C") if plain else key)
    return select(*(table.columns[name] for name in names)).order_by(*keys)


def filled(db: Session) -> str | None:
    """The name of a table that has rows, although it has none in a new program; None if there is none."""
    for table in tables():
        if table.name not in _INITIAL_TABLES and db.execute(select(table).limit(1)).first() is not None:
            return table.name
    return None


def clear_initial_rows(db: Session) -> None:
    """Delete the rows that a start of the service writes into an empty program, except the link for the first lead."""
    for model in (AuditEntry, Program):
        db.execute(delete(model))


def end_first_links(db: Session) -> None:
    """Delete the links for a first lead: now there is a lead, or the next start of the service makes a new link."""
    db.execute(delete(CrewPass))


def add(db: Session, table: Table, values: Sequence[dict[str, Any]]) -> int | None:
    """Add rows; returns the index of the first that the database refuses, None if it accepts all."""
    if _taken(db, table, values):
        return None
    return next((at for at, one in enumerate(values) if not _taken(db, table, [one])), 0)


def _taken(db: Session, table: Table, values: Sequence[dict[str, Any]]) -> bool:
    try:
        with db.begin_nested():
            db.execute(insert(table), values)
    except (IntegrityError, DataError):
        return False
    return True


def continue_numbering(db: Session, table: Table) -> None:
    """Let autoincrement keys continue after the highest; SQLite does so by itself."""
    if db.get_bind().dialect.name != "postgresql":
        return
    key = next(iter(table.primary_key))
    sequence = db.scalar(text("SELECT pg_get_serial_sequence(:table, :key)"), {"table": table.name, "key": key.name})
    if sequence is not None:
        highest = db.scalar(select(func.max(key)))
        if highest is not None:
            db.execute(text("SELECT setval(:sequence, :highest)"), {"sequence": sequence, "highest": highest})
