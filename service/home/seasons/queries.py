"""What season pages look up across features: who answers to a season, and who has passed in a round of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import distinct, func, select
from sqlalchemy.orm import Session

from service.gear.core import ASKED, USABLE, item_name
from service.gear.models import Item
from service.gear.queries import PlaceA, as_facts, facts
from service.kit.dates import midnight
from service.kit.lengths import Unit
from service.season import queries as season
from service.season.models import Event, ItemSeason, RoundRow, SeasonRow
from service.tags.models import Tag
from service.testlog.core import Verdict
from service.testlog.models import Test, TestItem, Void


@dataclass(frozen=True)
class RoundProgress:
    """A round, both days counted, and how many of the items that it asks have passed in it."""

    number: int
    opens: date
    last: date
    passed: int
    asked: int

    def is_open(self, today: date) -> bool:
        """Whether it runs today."""
        return self.opens <= today <= self.last


@dataclass(frozen=True)
class Choice:
    """An item that may answer to a season."""

    id: UUID
    code: str
    title: str
    chosen: bool


@dataclass(frozen=True)
class ChoicesAt:
    """The items of one place that may answer to a season."""

    place: str
    items: list[Choice]

    @property
    def chosen(self) -> int:
        """How many of them do."""
        return sum(item.chosen for item in self.items)


def progress(db: Session, season_id: UUID, zone: ZoneInfo) -> list[RoundProgress]:
    """How much of each round of a season is done."""
    return [_progress(db, row, zone) for row in season.rounds(db, season_id)]


def _progress(db: Session, row: RoundRow, zone: ZoneInfo) -> RoundProgress:
    asked = (
        select(ItemSeason.item_id)
        .join(Item, Item.id == ItemSeason.item_id)
        .where(ItemSeason.season_id == row.season_id, Item.state.in_(ASKED), Item.in_service_on < row.closes)
    )
    passed = (
        select(func.count(distinct(TestItem.item_id)))
        .join(Test, Test.id == TestItem.test_id)
        .outerjoin(Void, Void.test_id == Test.id)
        .where(
            Test.verdict == Verdict.PASS,
            Test.tested_at >= midnight(row.opens, zone),
            Test.tested_at < midnight(row.closes, zone),
            Void.test_id.is_(None),
            TestItem.item_id.in_(asked),
        )
    )
    total = db.scalar(select(func.count()).select_from(asked.subquery())) or 0
    last = row.closes - timedelta(days=1)
    return RoundProgress(row.number + 1, row.opens, last, db.scalar(passed) or 0, total)


@dataclass(frozen=True)
class Step:
    """A node on the run of a season: a round, an event, or today."""

    on: date
    what: str
    round: RoundProgress | None = None
    event: Event | None = None


def steps(
    row: SeasonRow, rounds: Sequence[RoundProgress], events: Sequence[Event], today: date
) -> list[Step]:
    """A season as one run in the order of its days."""
    found = [Step(each.opens, "round", round=each) for each in rounds]
    found += [Step(event.on, "event", event=event) for event in events]
    if row.starts <= today <= row.ends:
        found.append(Step(today, "today"))
    order = {"round": 0, "today": 1, "event": 2}
    return sorted(found, key=lambda step: (step.on, order[step.what]))


def usable_items(db: Session) -> Sequence[UUID]:
    """Every item in service or spare."""
    return db.scalars(select(Item.id).where(Item.state.in_(USABLE))).all()


def choices(db: Session, season_id: UUID, unit: Unit) -> list[ChoicesAt]:
    """The items that may answer to a season, place by place in walking order."""
    query = (
        facts()
        .add_columns(Tag.code, ItemSeason.season_id)
        .outerjoin(Tag, (Tag.item_id == Item.id) & Tag.until.is_(None))
        .outerjoin(ItemSeason, (ItemSeason.item_id == Item.id) & (ItemSeason.season_id == season_id))
        .where(Item.state.in_(ASKED))
        .order_by(PlaceA.walk_order.is_(None), PlaceA.walk_order, PlaceA.name, Item.label, Item.id)
    )
    found = []
    for row in db.execute(query):
        item = as_facts(row)
        title = item.label or item_name(item.kind, item.length_mm, unit)
        found.append((item.place, Choice(item.id, row[-2] or "", title, row[-1] is not None)))
    return [
        ChoicesAt(place, [choice for _, choice in group])
        for place, group in groupby(found, key=lambda one: one[0])
    ]
