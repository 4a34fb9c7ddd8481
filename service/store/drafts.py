"""Long writes: worked out on a private copy of the database, then carried over in one short transaction.

SQLite lets one write at a time, so what takes long must not be reckoned while others wait. It is done to a copy that
nobody else sees, at leisure; each row that it writes there is recorded and then written to the database itself
(`staging`), all of them or none. What others write meanwhile stays: where it changes only what follows from the work
for some items, just that is done anew; else the whole is. PostgreSQL locks rows and not the database, so there the
work is simply done.
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
from service.store.sessions import Beaten, Store
from service.store.staging import Parameters, Recorded, Staged, at_once, laid_out

T_co = TypeVar("T_co", covariant=True)
T = TypeVar("T")
Tell = Callable[[int, int], None]
"""Told how much is done, and of how much."""

_ROW: ColumnElement[int] = literal_column("rowid", Integer)
_MEGABYTES_AT_HAND = 32

_CORE = -1
"""The part that all follow-ups follow from; they are numbered from 0."""
_AT_ONCE_MOST = 2
"""How many follow-ups are done anew while others wait to write: some tens of milliseconds each."""
ROUNDS_MOST = 6
"""After so many rounds of catching up the rest is done while others wait, however much it is."""


@dataclass(frozen=True)
class FollowUp:
    """What follows, `of` items by their ids, from the rest of the work and from all that others wrote. It is done when
    that rest is, and can be done anew.
    """

    of: Collection[UUID]
    do: Callable[[Session], None]


@dataclass(frozen=True)
class WorkDone(Generic[T_co]):
    """Work as far as it is done: its answer, and what is to follow."""

    answer: T_co
    follow_ups: Sequence[FollowUp] = ()


class WorkedOut(Protocol[T_co]):
    """Work that is done, but for writing it (`carried_over`)."""

    def beside(self, connection: Any) -> AbstractContextManager[None]:
        """Have at hand what is to be written, on the driver's connection that will, before its transaction."""

    def carry_over(self, db: Session) -> T_co:
        """Write it, in the transaction at hand; the work's answer.

        Raises:
            Beaten: what the work rests on has changed meanwhile.
            Outdated: some of what follows from it has to be done anew.
        """

    def catch_up(self) -> None:
        """Do that anew.

        Raises:
            Beaten: as `carry_over` does.
        """


class Outdated(Exception):
    """What others wrote changes what follows from a draft, so it has to catch up before it is carried over."""


@dataclass(frozen=True)
class Meanwhile:
    """What was added to the database since the copy was made."""

    _rows: Mapping[str, int]
    _db: Session

    def is_more(self, *models: type[Base]) -> bool:
        """Whether one of these tables has got more rows."""
        return any(self.has_more(model.__table__) for model in models)

    def has_more(self, table: Any) -> bool:
        """Whether this table has."""
        return self._rows[table.name] != _last_row(self._db.connection(), table)

    def added(self, model: type[Base], *columns: Any) -> Sequence[Any]:
        """These columns of the rows that a table has got."""
        query = select(*columns).select_from(model).where(self._rows[model.__tablename__] < _ROW)
        return self._db.connection().execute(query).all()


class Draft(Generic[T]):
    """Work that was done on a copy."""

    def __init__(
        self,
        store: Store,
        do: Callable[[Session], WorkDone[T]],
        changed: Callable[[Meanwhile, T], Collection[UUID] | None],
        tell: Tell,
    ) -> None:
        self._store, self._changed, self._tell = store, changed, tell
        self._leans_on: set[Table] = set()
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
    def beside(self, connection: Any) -> Iterator[None]:
        """Lay out what is to be written, for a transaction of this connection."""
        with laid_out(connection, self._written()) as self._staged:
            yield

    def carry_over(self, db: Session) -> T:
        """Write to the database what was written to the copy; the work's answer."""
        behind = self._behind(db)
        if len(behind) > _AT_ONCE_MOST and self._rounds < ROUNDS_MOST:
            raise Outdated
        self._write(self._staged, db, behind)
        for at in behind:
            self._follow_ups[at].do(db)
        return self._answer

    def catch_up(self) -> None:
        """Do anew what others changed meanwhile, on another copy."""
        self._rounds += 1
        with self._on_copy() as db:
            behind = self._behind(db)
            self._rows = _last_rows(db)
            self._write(at_once(self._written()), db, behind)
            self._follow(db, behind)

    def _follow(self, db: Session, which: Sequence[int]) -> None:
        for done, at in enumerate(which):
            self._tell(done, len(which))
            with self._recording(db, at):
                self._follow_ups[at].do(db)

    def _behind(self, db: Session) -> list[int]:
        """Which of the follow-ups others changed meanwhile.

        Raises:
            Beaten: it is the whole work.
        """
        meanwhile = Meanwhile(self._rows, db)
        changed = self._changed(meanwhile, self._answer)
        if changed is None or any(meanwhile.has_more(table) for table in self._leans_on):
            raise Beaten
        return [at for at, one in enumerate(self._follow_ups) if not set(changed).isdisjoint(one.of)]

    def _written(self) -> Iterator[Recorded]:
        return (recorded for _, part in sorted(self._parts.items()) for recorded in part)

    def _write(self, staged: Staged, db: Session, without: Collection[int]) -> None:
        try:
            staged.write(db, without)
        except sqlite_driver().IntegrityError as error:  # somebody has added just this
            raise Beaten from error

    @contextmanager
    def _on_copy(self) -> Iterator[Session]:
        with _copy_of(self._store) as engine, Session(engine, expire_on_commit=False) as db, db.begin():
            yield db

    @contextmanager
    def _recording(self, db: Session, part: int) -> Iterator[None]:
        """Keep all that is written while the block runs as this part."""
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
        """Note a table whose rows, added by this work, are changed by it again: they are named by numbers that the
        copy gave them.
        """
        if isinstance(next(iter(table.primary_key)).type, Integer):
            last = self._rows[table.name]
            if any(isinstance(value, int) and value > last for row in rows for value in row):
                self._leans_on.add(table)


class _AtOnce(Generic[T]):
    """Work that is simply done where it is written."""

    def __init__(self, do: Callable[[Session], WorkDone[T]], tell: Tell) -> None:
        self._do, self._tell = do, tell

    def beside(self, _connection: Any) -> AbstractContextManager[None]:
        """Nothing is needed."""
        return nullcontext()

    def carry_over(self, db: Session) -> T:
        """Do all of it."""
        work = self._do(db)
        for done, one in enumerate(work.follow_ups):
            self._tell(done, len(work.follow_ups))
            one.do(db)
        return work.answer

    def catch_up(self) -> None:
        """Nothing is ever behind."""


def work_out(
    store: Store,
    do: Callable[[Session], WorkDone[T]],
    changed: Callable[[Meanwhile, T], Collection[UUID] | None],
    tell: Tell = lambda _done, _many: None,
) -> WorkedOut[T]:
    """Do what takes long, without keeping anybody from writing.

    Args:
        do: the work, as it is done in a write transaction.
        changed: of which items something came meanwhile that changes what follows; None where all of the work, with
            this answer, has to be done anew.
        tell: told how many follow-ups are done.
    """
    return Draft(store, do, changed, tell) if is_sqlite(store.url) else _AtOnce(do, tell)


def carried_over(work: WorkedOut[Any], write: Callable[[], T]) -> T:
    """Write what was worked out: `write` begins a transaction with `work.beside` and lets it `carry_over` in it. Where
    others go on writing what concerns it, only that is done anew, in ever shorter rounds, so it comes to an end.
    """
    while True:
        try:
            return write()
        except Outdated:
            work.catch_up()


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


def _last_rows(db: Session) -> dict[str, int]:
    return {table.name: _last_row(db.connection(), table) for table in Base.metadata.sorted_tables}


def _last_row(connection: Connection, table: Table) -> int:
    """The number of the last row of a table; 0 where there is none."""
    return connection.scalar(select(func.max(_ROW)).select_from(table)) or 0
