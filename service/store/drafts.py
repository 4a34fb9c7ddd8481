"""Long writes: done on a private copy of the database, then written to the database in one short transaction.

SQLite allows one write transaction at a time, so long work must not be done while others wait. It is done on a copy
that nobody else sees; each row that it writes there is recorded and then written to the database itself (`staging`),
all rows or none. What others write meanwhile is kept: if it changes only the effects of the work on some items, only
those are computed again; otherwise all of the work is done again. PostgreSQL locks rows and not the database, so there
the work is done in the write transaction itself.
"""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, closing, contextmanager, nullcontext
from dataclasses import dataclass
from typing import Any, Generic, Protocol, TypeVar
from uuid import UUID

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
from service.store.sessions import Store, WriteConflict
from service.store.staging import Parameters, Recorded, Staged, staged, unstaged

T_co = TypeVar("T_co", covariant=True)
T = TypeVar("T")
OnProgress = Callable[[int, int], None]
"""Reports progress: called with how many are done, and of how many."""

_ROW: ColumnElement[int] = literal_column("rowid", Integer)
_MEGABYTES_AT_HAND = 32

_CORE = -1
"""The number of the part that all follow-ups depend on; the follow-ups are numbered from 0."""
_AT_ONCE_MOST = 2
"""At most this many follow-ups are done again while others wait to write: each takes some tens of milliseconds."""
ROUNDS_MOST = 6
"""After this many rounds of catching up the rest is done while others wait, however much it is."""


@dataclass(frozen=True)
class FollowUp:
    """The effects on one group of items (`of`, their ids) of the work and of everything that others wrote. It is done
    after the work, and can be done again.
    """

    of: Collection[UUID]
    do: Callable[[Session], None]


@dataclass(frozen=True)
class WorkResult(Generic[T_co]):
    """The result of the work: its answer, and the follow-ups that are still to be done."""

    answer: T_co
    follow_ups: Sequence[FollowUp] = ()


class PreparedWork(Protocol[T_co]):
    """Work that is done but not yet written to the database (`carried_over`)."""

    def prepare(self, connection: Any) -> AbstractContextManager[None]:
        """Prepare the rows on the driver's connection that will write them, before its transaction begins."""

    def carry_over(self, db: Session) -> T_co:
        """Write the work in the session's transaction, and return its answer.

        Raises:
            WriteConflict: the data that the work depends on has changed meanwhile.
            Outdated: some follow-ups have to be done again (`catch_up`).
        """

    def catch_up(self) -> None:
        """Do the outdated follow-ups again.

        Raises:
            WriteConflict: as `carry_over`.
        """


class Outdated(Exception):
    """What others wrote changes the follow-ups of a draft, so it has to catch up before it is written."""


@dataclass(frozen=True)
class AddedSince:
    """The rows that were added to the database since the copy was made."""

    _rows: Mapping[str, int]
    _db: Session

    def is_more(self, *models: type[Base]) -> bool:
        """Whether rows were added to one of these tables."""
        return any(self.has_more(model.__table__) for model in models)

    def has_more(self, table: Any) -> bool:
        """Whether rows were added to this table."""
        return self._rows[table.name] != _last_row(self._db.connection(), table)

    def added(self, model: type[Base], *columns: Any) -> Sequence[Any]:
        """These columns of the rows that were added to a table."""
        query = select(*columns).select_from(model).where(self._rows[model.__tablename__] < _ROW)
        return self._db.connection().execute(query).all()


class Draft(Generic[T]):
    """Work that was done on a copy, with the rows that it wrote there."""

    def __init__(
        self,
        store: Store,
        do: Callable[[Session], WorkResult[T]],
        changed: Callable[[AddedSince, T], Collection[UUID] | None],
        on_progress: OnProgress,
    ) -> None:
        self._store, self._changed, self._on_progress = store, changed, on_progress
        self._tables_with_new_keys: set[Table] = set()
        self._parts: dict[int, list[Recorded]] = {}
        self._staged = Staged([])
        self._rounds = 0
        with self._on_copy() as db:
            self._rows = _last_rows(db)
            with self._recording(db, _CORE):
                work = do(db)
            self._answer, self._follow_ups = work.answer, work.follow_ups
            self._follow(db, range(len(work.follow_ups)))

    @contextmanager
    def prepare(self, connection: Any) -> Iterator[None]:
        """Put the rows into temporary tables of this connection."""
        with staged(connection, self._written()) as self._staged:
            yield

    def carry_over(self, db: Session) -> T:
        """Write to the database what was written to the copy, and return the work's answer."""
        outdated = self._outdated(db)
        if len(outdated) > _AT_ONCE_MOST and self._rounds < ROUNDS_MOST:
            raise Outdated
        self._write(self._staged, db, outdated)
        for at in outdated:
            self._follow_ups[at].do(db)
        return self._answer

    def catch_up(self) -> None:
        """Do the follow-ups again that others changed meanwhile, on a new copy."""
        self._rounds += 1
        with self._on_copy() as db:
            outdated = self._outdated(db)
            self._rows = _last_rows(db)
            self._write(unstaged(self._written()), db, outdated)
            self._follow(db, outdated)

    def _follow(self, db: Session, which: Sequence[int]) -> None:
        for done, at in enumerate(which):
            self._on_progress(done, len(which))
            with self._recording(db, at):
                self._follow_ups[at].do(db)

    def _outdated(self, db: Session) -> list[int]:
        """The follow-ups that others changed meanwhile.

        Raises:
            WriteConflict: all of the work has to be done again.
        """
        meanwhile = AddedSince(self._rows, db)
        changed = self._changed(meanwhile, self._answer)
        if changed is None or any(meanwhile.has_more(table) for table in self._tables_with_new_keys):
            raise WriteConflict
        return [at for at, one in enumerate(self._follow_ups) if not set(changed).isdisjoint(one.of)]

    def _written(self) -> Iterator[Recorded]:
        return (recorded for _, part in sorted(self._parts.items()) for recorded in part)

    def _write(self, staged: Staged, db: Session, without: Collection[int]) -> None:
        try:
            staged.write(db, without)
        except sqlite_driver().IntegrityError as error:  # somebody has added the same row
            raise WriteConflict from error

    @contextmanager
    def _on_copy(self) -> Iterator[Session]:
        with _copy_of(self._store) as engine, Session(engine, expire_on_commit=False) as db, db.begin():
            yield db

    @contextmanager
    def _recording(self, db: Session, part: int) -> Iterator[None]:
        """Record everything that is written while the block runs as this part."""
        recorded = self._parts[part] = []

        def record(
            _connection: Connection, _cursor: Any, statement: str, given: Any, context: Any, _many: bool
        ) -> None:
            if context.isinsert or context.isupdate or context.isdelete:
                table, rows = context.compiled.statement.table, given if isinstance(given, list) else [given]
                columns = tuple(context.compiled.positiontup) if context.isinsert else ()
                plain = statement.partition(" RETURNING ")[0]
                recorded.append(Recorded(plain, table, columns, [(row, part) for row in rows]))
                if not context.isinsert:
                    self._note_new_keys(table, rows)

        event.listen(db.get_bind(), "before_cursor_execute", record)
        try:
            yield
            db.flush()
        finally:
            event.remove(db.get_bind(), "before_cursor_execute", record)

    def _note_new_keys(self, table: Table, rows: Sequence[Parameters]) -> None:
        """Remember tables with rows that this work added and then changed: their numbers were given by the copy."""
        if isinstance(next(iter(table.primary_key)).type, Integer):
            last = self._rows[table.name]
            if any(isinstance(value, int) and value > last for row in rows for value in row):
                self._tables_with_new_keys.add(table)


class _DirectWork(Generic[T]):
    """Work that is done in the write transaction itself."""

    def __init__(self, do: Callable[[Session], WorkResult[T]], on_progress: OnProgress) -> None:
        self._do, self._on_progress = do, on_progress

    def prepare(self, _connection: Any) -> AbstractContextManager[None]:
        """Do nothing: no rows are prepared."""
        return nullcontext()

    def carry_over(self, db: Session) -> T:
        """Do all of the work, and return its answer."""
        work = self._do(db)
        for done, one in enumerate(work.follow_ups):
            self._on_progress(done, len(work.follow_ups))
            one.do(db)
        return work.answer

    def catch_up(self) -> None:
        """Do nothing: no follow-up can be outdated."""


def work_out(
    store: Store,
    do: Callable[[Session], WorkResult[T]],
    changed: Callable[[AddedSince, T], Collection[UUID] | None],
    on_progress: OnProgress = lambda _done, _many: None,
) -> PreparedWork[T]:
    """Do long work without keeping others from writing.

    Args:
        do: the work, as it is done in a write transaction.
        changed: gives the ids of items whose follow-ups are changed by what others wrote; None if all of the work,
            with this answer, has to be done again.
        on_progress: called with how many follow-ups are done, and of how many.
    """
    return Draft(store, do, changed, on_progress) if is_sqlite(store.url) else _DirectWork(do, on_progress)


def carried_over(work: PreparedWork[Any], write: Callable[[], T]) -> T:
    """Write the work: `write` prepares it (`work.prepare`), begins a transaction and calls `work.carry_over` in it.

    While others write what changes the follow-ups, only these are done again, in ever shorter rounds, so it ends.
    """
    while True:
        try:
            return write()
        except Outdated:
            work.catch_up()


@contextmanager
def _copy_of(store: Store) -> Iterator[Engine]:
    """A copy of the database as of one moment, in a temporary file of SQLite that nobody else can open."""
    driver = sqlite_driver()
    with closing(driver.connect("", check_same_thread=False)) as copy:
        copy.isolation_level = None
        for pragma in ("foreign_keys=ON", "journal_mode=OFF", f"cache_size={-1000 * _MEGABYTES_AT_HAND}"):
            copy.execute(f"PRAGMA {pragma}")
        with closing(store.reader.raw_connection()) as source:
            # The copy also has what is still in the write-ahead log.
            source.cursor().connection.backup(copy)
        engine = create_engine(
            "sqlite://", module=driver, creator=lambda: copy, poolclass=StaticPool, use_insertmanyvalues=False
        )
        event.listen(engine, "begin", lambda connection: connection.exec_driver_sql("BEGIN"))
        yield engine


def _last_rows(db: Session) -> dict[str, int]:
    return {table.name: _last_row(db.connection(), table) for table in Base.metadata.sorted_tables}


def _last_row(connection: Connection, table: Table) -> int:
    """The number of the last row of a table; 0 if it is empty."""
    return connection.scalar(select(func.max(_ROW)).select_from(table)) or 0
