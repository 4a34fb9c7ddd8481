"""Queries for comparing a sheet with the database, and for the exports as CSV."""

from collections import defaultdict
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Row, exists, select
from sqlalchemy.orm import Session

from service.crew.models import Person
from service.exchange.sheets.core.cells import folded
from service.exchange.sheets.core.duplicates import LoggedTest
from service.exchange.sheets.core.test_row import is_of_row
from service.exchange.sheets.core.wiring_guess import WiringOffer
from service.gear.models import Item, Note, OwnWiring
from service.gear.queries import ItemFacts, PlaceA, as_facts, facts
from service.gear.wirings import WIRING_NAMES, find_wiring
from service.season.models import ItemDue
from service.store.sessions import chunks
from service.tags.models import IS_TAG_OF_ITEM, TAG_IN_USE, Tag
from service.testlog.models import NOT_VOIDED, FaultRow, MarkStands, Repair, Test, TestItem, Void, WrongMark
from service.wiring.wirings import Wiring

_PIECE = 500


@dataclass(frozen=True)
class KnownTag:
    """A tag: the item that it is or was on (None for a place's tag), and whether it still counts."""

    code: str
    item: UUID | None
    live: bool


def tags(db: Session) -> dict[str, KnownTag]:
    """Every tag by its code."""
    rows = db.execute(select(Tag.code, Tag.item_id, Tag.until))
    return {code: KnownTag(code, item_id, until is None) for code, item_id, until in rows}


def items(db: Session) -> dict[UUID, ItemFacts]:
    """Every item with its facts."""
    return {row.id: row for row in map(as_facts, db.execute(facts()))}


def notes(db: Session) -> dict[UUID, list[str]]:
    """The notes on every item, the oldest first, each on one line."""
    texts: dict[UUID, list[str]] = defaultdict(list)
    for item_id, text in db.execute(select(Note.item_id, Note.text).order_by(Note.id)):
        texts[item_id].append(" ".join(text.split()))
    return texts


def offer(db: Session) -> WiringOffer:
    """The wirings of this program: built-in and its own."""
    own = db.execute(select(OwnWiring.key, OwnWiring.name, OwnWiring.ended_at.is_(None))).all()
    pairs = [*WIRING_NAMES.items(), *((key, name) for key, name, offered in own if offered)]
    words = {folded(word): key for key, name in pairs for word in (name, key)}
    lanes = {key: _lanes(find_wiring(db, key)) for key in (*WIRING_NAMES, *(key for key, _, _ in own))}
    return WiringOffer(words, lanes)


def _lanes(wiring: Wiring) -> int:
    """How many lines a wiring carries: the number of its lanes, or else of its pairs."""
    return len(wiring.lanes) or len(wiring.pairs) or 1


def tests_by_id(db: Session, ids: Collection[UUID]) -> dict[UUID, LoggedTest]:
    """The logged tests with these ids."""
    query = select(Test.id, Test.tested_at, Test.verdict, Test.note)
    return {
        row[0]: LoggedTest(*row) for some in chunks(sorted(ids)) for row in db.execute(query.where(Test.id.in_(some)))
    }


def tests_of(db: Session, item_ids: Collection[UUID]) -> dict[UUID, list[LoggedTest]]:
    """The tests of each of these items; a test through several items is listed with the first of them."""
    tests: dict[UUID, list[LoggedTest]] = defaultdict(list)
    query = (
        select(
            TestItem.item_id,
            Test.id,
            Test.tested_at,
            Test.verdict,
            Test.note,
            Test.session_id.is_(None) & NOT_VOIDED,
        )
        .join(Test, Test.id == TestItem.test_id)
        .outerjoin(Void, Void.test_id == Test.id)
        .where(TestItem.position == 0)
        .order_by(Test.tested_at, Test.id)
    )
    for ids in chunks(sorted(item_ids)):
        for item_id, test_id, at, verdict, note, stands in db.execute(query.where(TestItem.item_id.in_(ids))):
            by_sheet = stands and is_of_row(test_id)
            tests[item_id].append(LoggedTest(test_id, at, verdict, note, by_sheet=by_sheet))
    return tests


def repairs_among(db: Session, ids: Collection[UUID]) -> dict[UUID, str]:
    """The logged repairs with these ids, and what was repaired."""
    query = select(Repair.id, Repair.what)
    return {
        repair_id: what
        for some in chunks(sorted(ids))
        for repair_id, what in db.execute(query.where(Repair.id.in_(some)))
    }


def repairs_of(db: Session, item_ids: Collection[UUID]) -> dict[UUID, list[tuple[UUID, datetime, str]]]:
    """The repairs of each of these items: id, when, and what was repaired."""
    repairs: dict[UUID, list[tuple[UUID, datetime, str]]] = defaultdict(list)
    query = select(Repair.item_id, Repair.id, Repair.at, Repair.what)
    for ids in chunks(sorted(item_ids)):
        for item_id, repair_id, at, what in db.execute(query.where(Repair.item_id.in_(ids))):
            repairs[item_id].append((repair_id, at, what))
    return repairs


def gear_rows(db: Session) -> Iterator[tuple[ItemFacts, str, ItemDue | None]]:
    """Every item with its code and its due state, in walking order."""
    query = (
        facts()
        .add_columns(Tag.code.label("code"), ItemDue)
        .outerjoin(Tag, IS_TAG_OF_ITEM)
        .outerjoin(ItemDue, ItemDue.item_id == Item.id)
        .order_by(PlaceA.walk_order.is_(None), PlaceA.walk_order, PlaceA.name, Item.kind, Item.length_mm, Tag.code)
    )
    for row in db.execute(query.execution_options(yield_per=_PIECE)):
        yield as_facts(row), row.code or "", row.ItemDue


def test_rows(db: Session) -> Iterator[list[Row[Test, str | None, Void | None, WrongMark | None]]]:
    """Every test with who logged it, its void, and its tester's mark that it was wrong, if no lead has confirmed the
    test; the oldest first, read in chunks.
    """
    marked = (WrongMark.test_id == Test.id) & ~exists().where(MarkStands.test_id == Test.id)
    query = (
        select(Test, Person.display_name, Void, WrongMark)
        .outerjoin(Person, Person.id == Test.person_id)
        .outerjoin(Void, Void.test_id == Test.id)
        .outerjoin(WrongMark, marked)
        .order_by(Test.tested_at, Test.id)
    )
    for piece in db.execute(query.execution_options(yield_per=_PIECE)).partitions():
        yield list(piece)


def repair_rows(db: Session) -> Iterator[tuple[Repair, str, str]]:
    """Every repair with the present code of its item and who logged it, the oldest first."""
    query = (
        select(Repair, Tag.code, Person.display_name)
        .outerjoin(Tag, (Tag.item_id == Repair.item_id) & TAG_IN_USE)
        .outerjoin(Person, Person.id == Repair.person_id)
        .order_by(Repair.at, Repair.id)
    )
    for repair, code, by in db.execute(query.execution_options(yield_per=_PIECE)):
        yield repair, code or "", by or ""


def codes_by_test(db: Session, test_ids: Collection[UUID]) -> dict[UUID, list[str]]:
    """The present codes of the items that each test went through, in order."""
    codes: dict[UUID, list[str]] = defaultdict(list)
    query = (
        select(TestItem.test_id, Tag.code)
        .join(Tag, (Tag.item_id == TestItem.item_id) & TAG_IN_USE)
        .where(TestItem.test_id.in_(test_ids))
        .order_by(TestItem.test_id, TestItem.position)
    )
    for test_id, code in db.execute(query):
        codes[test_id].append(code)
    return codes


def faults_by_test(db: Session, test_ids: Collection[UUID]) -> dict[UUID, list[Any]]:
    """The faults of each test, in order."""
    faults: dict[UUID, list[Any]] = defaultdict(list)
    query = select(FaultRow).where(FaultRow.test_id.in_(test_ids))
    for row in db.scalars(query.order_by(FaultRow.test_id, FaultRow.position)):
        faults[row.test_id].append(row)
    return faults
