"""Lists of the log, and their filter."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import Row, Select, select
from sqlalchemy.orm import Session

from service.crew.models import Person
from service.kit.dates import midnight, parse_date, parse_instant
from service.kit.problems import invalid
from service.store.paging import beyond, cursor, position
from service.tags.queries import named_id
from service.testlog.core import Verdict
from service.testlog.faults import titles
from service.testlog.models import FaultRow, Test, TestItem, Void
from service.testlog.queries import DOUBTED, faults_of, items_of
from service.wiring.faults import FAULTS


@dataclass(frozen=True)
class ListedTest:
    """A test as lists show it: `by` is who logged it, `faults` are titles, `items` those that it went through.
    `doubted`: its tester marked it as wrong, and no lead has decided yet.
    """

    __test__ = False

    id: UUID
    tested_at: datetime
    verdict: Verdict
    voided: bool
    by: str
    faults: tuple[str, ...]
    items: tuple[UUID, ...]
    doubted: bool = False


@dataclass(frozen=True)
class LogFilter:
    """The filter of the log: one item, from a moment on, a class of fault, a conductor."""

    item_id: UUID | None = None
    since: datetime | None = None
    fault: str = ""
    conductor: str = ""


def read_log_filter(db: Session, item: str, since: str, fault: str, conductor: str, zone: ZoneInfo) -> LogFilter:
    """The filter from typed texts; empty texts mean all.

    Raises:
        Invalid: with the field and what is wrong with it.
    """
    if fault and fault not in FAULTS:
        raise invalid("fault", f"“{fault[:40]}” is no class of fault; it is one of {', '.join(FAULTS)}.")
    return LogFilter(
        item_id=named_id(db, item, "item") if item else None,
        since=_since(since, zone) if since else None,
        fault=fault,
        conductor=conductor[:40],
    )


def _since(text: str, zone: ZoneInfo) -> datetime:
    return parse_instant(text, "since") if "T" in text.upper() else midnight(parse_date(text, "since"), zone)


def last_tests(db: Session, item_id: UUID, limit: int) -> list[ListedTest]:
    """The newest tests of an item with voided ones, the newest first."""
    return listed_tests(db, db.execute(_tests(item_id).limit(limit)).all())


def log_page(
    db: Session, size: int, after: str | None, log_filter: LogFilter
) -> tuple[Sequence[Row[Test, str | None, Void | None]], str | None]:
    """A page of the log, the newest first: (test, who logged it, its void), and the cursor of the next page."""
    query = _tests(log_filter.item_id)
    if log_filter.fault or log_filter.conductor:
        faulty = select(FaultRow.test_id)
        if log_filter.fault:
            faulty = faulty.where(FaultRow.fault_class == log_filter.fault)
        if log_filter.conductor:
            faulty = faulty.where(FaultRow.conductor == log_filter.conductor)
        query = query.where(Test.id.in_(faulty))
    if log_filter.since is not None:
        query = query.where(Test.tested_at >= log_filter.since)
    if after:
        query = query.where(beyond([Test.tested_at, Test.id], position(after, datetime, UUID), down=True))
    rows = db.execute(query.limit(size + 1)).all()
    page = rows[:size]
    last = page[-1][0] if len(rows) > size else None
    return page, cursor(last.tested_at, last.id) if last else None


def row_of(db: Session, test_id: UUID) -> Row[Test, str | None, Void | None]:
    """A test as a row of the log."""
    return db.execute(_tests(None).where(Test.id == test_id)).one()


def listed_tests(db: Session, rows: Sequence[Row[Test, str | None, Void | None]]) -> list[ListedTest]:
    """Rows of the log as lists show them."""
    ids = [test.id for test, _, _ in rows]
    faults, items = faults_of(db, ids), items_of(db, ids)
    doubted = set(db.scalars(select(Test.id).where(Test.id.in_(ids), DOUBTED)))
    return [
        ListedTest(
            test.id,
            test.tested_at,
            Verdict(test.verdict),
            void is not None,
            by or "",
            tuple(titles(db, test.wiring, faults[test.id])),
            tuple(items[test.id]),
            void is None and test.id in doubted,
        )
        for test, by, void in rows
    ]


def _tests(item_id: UUID | None) -> Select[Test, str | None, Void | None]:
    query = (
        select(Test, Person.display_name, Void)
        .outerjoin(Person, Person.id == Test.person_id)
        .outerjoin(Void, Void.test_id == Test.id)
        .order_by(Test.tested_at.desc(), Test.id.desc())
    )
    if item_id is not None:
        query = query.join(TestItem, TestItem.test_id == Test.id).where(TestItem.item_id == item_id)
    return query
