"""Long writes: worked out on a private copy of the database, then carried over in one short transaction.

SQLite lets one write at a time, so what takes long must not be reckoned while others wait. It is done to a copy that
nobody else sees, at leisure; each row that it writes there is recorded and then written to the database itself, all
of them or none. What others write meanwhile stays: only what the work rests on must not have changed, else it is
worked out anew. PostgreSQL locks rows and not the database, so there the work is simply done.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from sqlalchemy import (
    ColumnElement,
    Connection,
    Engine,
    Integer,
    Table,
    create_engine,
    event,
    func,
    literal_column,
    select,
)
from sqlalchemy.orm import Session
from sqlalchemy.pool import StaticPool

from service.store.base import Base
from service.store.engine import is_sqlite, sqlite_driver
from service.store.sessions import Beaten, Store

T = TypeVar("T")
Parameters = tuple[Any, ...]

_ROW: ColumnElement[int] = literal_column("rowid", Integer)
_MEGABYTES_AT_HAND = 32


@dataclass(frozen=True)
class Meanwhile:
    """What was added to the database since the copy was made."""

    _rows: Mapping[str, int]
    _db: Session

    def is_more(self, *models: type[Base]) -> bool:
        """Whether one of these tables has got more rows."""
        return any(self.added(model, _ROW) for model in models)

    def added(self, model: type[Base], *columns: Any) -> Sequence[Any]:
        """These columns of the rows that a table has got."""
        query = select(*columns).select_from(model).where(self._rows[model.__tablename__] < _ROW)
        return self._db.connection().execute(query).all()


@dataclass(frozen=True)
class _Recorded:
    """A statement of SQL, and the rows that it writes: one tuple of parameters each."""

    statement: str
    rows: list[Parameters]


class Draft(Generic[T]):
    """Work that was done on a copy."""

    def __init__(self, store: Store, do: Callable[[Session], T], rests_on: Callable[[Meanwhile, T], bool]) -> None:
        self._rests_on = rests_on
        self._recorded: list[_Recorded] = []
        self._leans_on: set[str] = set()
        with _copy_of(store) as engine:
            with engine.connect() as connection:
                self._rows = {table.name: _last_row(connection, table) for table in Base.metadata.sorted_tables}
            event.listen(engine, "before_cursor_execute", self._record)
            with Session(engine, expire_on_commit=False) as db, db.begin():
                self._answer = do(db)

    def carry_over(self, db: Session) -> T:
        """Write to the database what was written to the copy, in the transaction at hand; the work's answer.

        Raises:
            Beaten: what the work rests on has changed meanwhile.
        """
        meanwhile = Meanwhile(self._rows, db)
        tables = Base.metadata.tables
        if not self._rests_on(meanwhile, self._answer) or any(
            self._rows[name] != _last_row(db.connection(), tables[name]) for name in self._leans_on
        ):
            raise Beaten
        driver = sqlite_driver()
        with closing(db.connection().connection.cursor()) as cursor:
            try:
                for one in self._recorded:
                    cursor.executemany(one.statement, one.rows)
            except driver.IntegrityError as error:  # somebody has added just this
                raise Beaten from error
        return self._answer

    def _record(
        self, _connection: Connection, _cursor: Any, statement: str, given: Any, context: Any, _many: bool
    ) -> None:
        if not (context.isinsert or context.isupdate or context.isdelete):
            return
        statement = statement.partition(" RETURNING ")[0]
        rows = given if isinstance(given, list) else [given]
        if self._recorded and self._recorded[-1].statement == statement:
            self._recorded[-1].rows.extend(rows)
        else:
            self._recorded.append(_Recorded(statement, list(rows)))
        if not context.isinsert:
            self._note_new_keys(context.compiled.statement.table, rows)

    def _note_new_keys(self, table: Table, rows: Sequence[Parameters]) -> None:
        """Note a table whose rows, added by this work, are changed by it again: they are named by numbers that the
        copy gave them.
        """
        if isinstance(next(iter(table.primary_key)).type, Integer):
            last = self._rows[table.name]
            if any(isinstance(value, int) and value > last for row in rows for value in row):
                self._leans_on.add(table.name)


def work_out(
    store: Store, do: Callable[[Session], T], rests_on: Callable[[Meanwhile, T], bool]
) -> Callable[[Session], T]:
    """Do what takes long, without keeping anybody from writing.

    Args:
        do: the work, as it is done in a write transaction.
        rests_on: whether all that the work, with this answer, rests on is still so, by what came meanwhile.

    Returns:
        what is left to do in a write transaction: it gives the work's answer, or raises `Beaten`.
    """
    return Draft(store, do, rests_on).carry_over if is_sqlite(store.url) else do


@contextmanager
def _copy_of(store: Store) -> Iterator[Engine]:
    """A copy of the database as it is at one moment, in a temporary file of SQLite's own that nobody else can open."""
    driver = sqlite_driver()
    with closing(driver.connect("", check_same_thread=False)) as copy:
        copy.isolation_level = None
        for pragma in ("foreign_keys=ON", "journal_mode=OFF", f"cache_size={-1000 * _MEGABYTES_AT_HAND}"):
            copy.execute(f"PRAGMA {pragma}")
        with closing(store.reader.raw_connection()) as source:
            # What is not in the file yet is in the copy all the same.
            source.cursor().connection.backup(copy)
        engine = create_engine(
            "sqlite://", module=driver, creator=lambda: copy, poolclass=StaticPool, use_insertmanyvalues=False
        )
        event.listen(engine, "begin", lambda connection: connection.exec_driver_sql("BEGIN"))
        yield engine


def _last_row(connection: Connection, table: Table) -> int:
    """The number of the last row of a table; 0 where there is none."""
    return connection.scalar(select(func.max(_ROW)).select_from(table)) or 0
