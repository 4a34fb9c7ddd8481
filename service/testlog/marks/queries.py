"""Look-ups of tests that their own testers marked as wrong."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import Row, select
from sqlalchemy.orm import Session

from service.crew.models import Person
from service.testlog.models import NOT_VOIDED, MarkStands, Test, Void, WrongMark


@dataclass(frozen=True)
class Marked:
    """A mark on a test: when, by whom, the note; `stands`: a lead decided that the test stands; `open`: no decision."""

    at: datetime
    by: str
    note: str
    stands: MarkStands | None
    open: bool


def marks_of(db: Session, test_ids: Collection[UUID]) -> dict[UUID, Marked]:
    """The marks on these tests; those without one are left out."""
    query = (
        select(WrongMark, Person.display_name, MarkStands, Void.test_id)
        .outerjoin(Person, Person.id == WrongMark.person_id)
        .outerjoin(MarkStands, MarkStands.test_id == WrongMark.test_id)
        .outerjoin(Void, Void.test_id == WrongMark.test_id)
        .where(WrongMark.test_id.in_(test_ids))
    )
    rows: Sequence[Row[WrongMark, str | None, MarkStands | None, UUID | None]] = db.execute(query).all()
    return {
        mark.test_id: Marked(mark.at, by or "", mark.note, stands, stands is None and voided is None)
        for mark, by, stands, voided in rows
    }


def undecided(db: Session, most: int) -> Sequence[Row[Test, str | None, Void | None]]:
    """Rows of the log for the tests that a lead has to decide about, in the order in which they were marked."""
    # Outer joins keep SQLite from reading the whole log and looking up the mark of each test.
    query = (
        select(Test, Person.display_name, Void)
        .select_from(WrongMark)
        .outerjoin(MarkStands, MarkStands.test_id == WrongMark.test_id)
        .outerjoin(Test, Test.id == WrongMark.test_id)
        .outerjoin(Person, Person.id == Test.person_id)
        .outerjoin(Void, Void.test_id == WrongMark.test_id)
        .where(MarkStands.test_id.is_(None), NOT_VOIDED)
        .order_by(WrongMark.at, WrongMark.test_id)
    )
    return db.execute(query.limit(most)).all()
