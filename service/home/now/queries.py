"""Queries for Now."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Row, distinct, func, select
from sqlalchemy.orm import Session

from service.crew.core import FIRST_NAME, ProgramFacts, Role
from service.crew.models import PERSON_IS_HERE, CrewPass, Person
from service.gear.core import FlagKind, ItemState
from service.gear.models import FLAG_IS_OPEN, Flag, Item
from service.season.models import SeasonRow
from service.store.backup import OLD, last_backup
from service.tags.models import TagPrint
from service.tags.queries import codes_of
from service.testlog.log_lists import ListedTest, listed_tests
from service.testlog.marks.queries import undecided

MARKED_MOST = 20


@dataclass(frozen=True)
class FirstStep:
    """One of the first steps of a new program."""

    words: str
    href: str
    done: bool


def state_counts(db: Session) -> dict[ItemState, int]:
    """How many items are in each state."""
    rows: Sequence[Row[str, int]] = db.execute(select(Item.state, func.count()).group_by(Item.state)).all()
    counted = {ItemState(state): count for state, count in rows}
    return {state: counted.get(state, 0) for state in ItemState}


def suspects(db: Session) -> int:
    """How many items are suspect."""
    query = select(func.count(distinct(Flag.item_id)))
    return db.scalar(query.where(Flag.flag == FlagKind.SUSPECT, FLAG_IS_OPEN)) or 0


def first_steps(db: Session, program: ProgramFacts, items: int) -> list[FirstStep]:
    """The steps from an empty database to a program in use, and which of them are done."""
    season = db.scalar(select(SeasonRow.id).limit(1)) is not None
    printed = db.scalar(select(TagPrint.id).where(TagPrint.printed_at.is_not(None)).limit(1)) is not None
    helper = select(Person.id).where(Person.role.in_((Role.CREW, Role.VIEWER)), PERSON_IS_HERE)
    crew_pass = select(CrewPass.id).where(CrewPass.role == Role.CREW)
    helpers = db.scalar(helper.limit(1)) is not None or db.scalar(crew_pass.limit(1)) is not None
    return [
        FirstStep("Name the program", "/settings", program.name != FIRST_NAME),
        FirstStep("Add gear", "/gear/new", items > 0),
        FirstStep("Make a season", "/season/new", season),
        FirstStep("Print tags", "/tags", printed),
        FirstStep("Let helpers in", "/crew", helpers),
    ]


def marked_tests(db: Session) -> list[tuple[ListedTest, list[str]]]:
    """The tests that a lead has to decide about, each with the codes of its items."""
    marked = listed_tests(db, undecided(db, MARKED_MOST))
    codes = codes_of(db, {item_id for test in marked for item_id in test.items})
    return [(test, [codes[item_id] for item_id in test.items]) for test in marked]


def backup(db: Session, now: datetime) -> tuple[datetime | None, bool]:
    """When the last backup was made (None: never), and whether there should be a newer one by now."""
    at = last_backup(db)
    return at, at is None or now - at > OLD
