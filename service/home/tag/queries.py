"""Queries of the tag page, as few as possible, since no page is opened more often."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from service.crew.models import Person
from service.gear.models import FLAG_IS_OPEN, Flag, Item
from service.gear.queries import ItemFacts, as_facts, facts
from service.gear.wirings import connectors, wiring_name
from service.season.core import Due, DueState
from service.season.models import ItemDue
from service.tags.models import Tag
from service.testlog.core import Verdict
from service.testlog.faults import titles
from service.testlog.models import FaultRow, Test, TestItem, Void
from service.testlog.queries import DOUBTED


@dataclass(frozen=True)
class Tagged:
    """The item that a tag is on, and its cached due state; `until` is when the tag ended."""

    item: ItemFacts
    until: datetime | None
    due: Due | None
    changes_on: date | None

    def is_stale(self, today: date) -> bool:
        """Whether the cached due state is no longer valid today."""
        return self.due is None or (self.changes_on is not None and self.changes_on <= today)


@dataclass(frozen=True)
class TagTest:
    """A test as the tag page shows it."""

    tested_at: datetime
    by: str
    verdict: Verdict
    voided: bool
    faults: list[str]
    doubted: bool
    lane: str


# The statements are built once: building one takes as long as running it.
_TAGGED = (
    facts()
    .add_columns(
        Tag.until.label("until"),
        ItemDue.state.label("due"),
        ItemDue.due_by.label("due_by"),
        ItemDue.changes_on.label("changes_on"),
    )
    .join(Tag, Tag.item_id == Item.id)
    .outerjoin(ItemDue, ItemDue.item_id == Item.id)
    .where(Tag.code == bindparam("code"))
)
_FLAGS = select(Flag.flag, Flag.note).where(Flag.item_id == bindparam("item"), FLAG_IS_OPEN).order_by(Flag.id)
_TESTS = (
    select(
        Test.id,
        Test.tested_at,
        Test.verdict,
        Test.wiring,
        Person.display_name,
        Void.at,
        DOUBTED,
        TestItem.lane,
    )
    .join(TestItem, TestItem.test_id == Test.id)
    .outerjoin(Person, Person.id == Test.person_id)
    .outerjoin(Void, Void.test_id == Test.id)
    .where(TestItem.item_id == bindparam("item"))
    .order_by(Test.tested_at.desc(), Test.id.desc())
    .limit(bindparam("most"))
)


def tagged(db: Session, code: str) -> Tagged | None:
    """The item that a code is on; None if it is on none."""
    row = db.connection().execute(_TAGGED, {"code": code}).one_or_none()
    if row is None:
        return None
    due = Due(DueState(row.due), row.due_by) if row.due else None
    return Tagged(as_facts(row), row.until, due, row.changes_on)


def flags(db: Session, item_id: UUID) -> dict[str, str]:
    """The flags that are raised on an item, each with its note."""
    return {row.flag: row.note for row in db.connection().execute(_FLAGS, {"item": item_id})}


def last_tests(db: Session, item_id: UUID, most: int) -> list[TagTest]:
    """The newest tests of an item, voided ones too."""
    rows = db.connection().execute(_TESTS, {"item": item_id, "most": most}).all()
    faulty = [row.id for row in rows if row.verdict == Verdict.FAIL]
    faults: dict[UUID, list[FaultRow]] = defaultdict(list)
    if faulty:
        query = select(FaultRow).where(FaultRow.test_id.in_(faulty)).order_by(FaultRow.position)
        for fault in db.scalars(query):
            faults[fault.test_id].append(fault)
    return [
        TagTest(
            at,
            by or "",
            Verdict(verdict),
            voided_at is not None,
            titles(db, wiring, faults[test_id]),
            doubted and voided_at is None,
            lane or "",
        )
        for test_id, at, verdict, wiring, by, voided_at, doubted, lane in rows
    ]


@dataclass(frozen=True)
class Ends:
    """The names of the two ends of an item, and its wiring."""

    wiring: str
    a: str
    b: str


def ends(db: Session, item: ItemFacts) -> Ends:
    """The connectors at the ends of an item, in words."""
    a, b = connectors(db, item)
    return Ends(wiring_name(db, item.wiring), a, b)
