"""Queries of season pages across features: the items of a season, and those that have passed in a round."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.gear.core import item_title
from service.gear.models import ITEM_IS_ASKED, ITEM_IS_USABLE, Item
from service.gear.queries import PlaceA, as_facts, facts
from service.kit.quantities import Unit
from service.kit.text import alike
from service.season.core import RoundProgress
from service.season.models import Event, ItemSeason, SeasonRow
from service.tags.models import IS_TAG_OF_ITEM, Tag
from service.testlog.models import WorkSession


@dataclass(frozen=True)
class SeasonItem:
    """An item that may belong to a season."""

    id: UUID
    code: str
    title: str
    chosen: bool


@dataclass(frozen=True)
class ChoicesAt:
    """The items of one place that may belong to a season."""

    place: str
    items: list[SeasonItem]

    @property
    def chosen(self) -> int:
        """How many of them belong to it."""
        return sum(item.chosen for item in self.items)


@dataclass(frozen=True)
class SeasonNode:
    """A step of a season: a round, an event, or today."""

    on: date
    what: str
    round: RoundProgress | None = None
    event: Event | None = None


def steps(row: SeasonRow, rounds: Sequence[RoundProgress], events: Sequence[Event], today: date) -> list[SeasonNode]:
    """The steps of a season in the order of their days."""
    nodes = [SeasonNode(each.opens, "round", round=each) for each in rounds]
    nodes += [SeasonNode(event.on, "event", event=event) for event in events]
    if row.starts <= today <= row.ends:
        nodes.append(SeasonNode(today, "today"))
    order = {"round": 0, "today": 1, "event": 2}
    return sorted(nodes, key=lambda step: (step.on, order[step.what]))


def sessions_in(db: Session, row: SeasonRow) -> Sequence[WorkSession]:
    """The sessions on the days of a season, planned and past."""
    query = select(WorkSession).where(WorkSession.on >= row.starts, WorkSession.on <= row.ends)
    return db.scalars(query.order_by(WorkSession.on, WorkSession.created_at)).all()


def usable_items(db: Session) -> Sequence[UUID]:
    """Every item in service or spare."""
    return db.scalars(select(Item.id).where(ITEM_IS_USABLE)).all()


def choices(db: Session, season_id: UUID, unit: Unit) -> list[ChoicesAt]:
    """The items that may belong to a season, by place in walking order."""
    query = (
        facts()
        .add_columns(Tag.code.label("code"), ItemSeason.season_id.label("season_id"))
        .outerjoin(Tag, IS_TAG_OF_ITEM)
        .outerjoin(ItemSeason, (ItemSeason.item_id == Item.id) & (ItemSeason.season_id == season_id))
        .where(ITEM_IS_ASKED)
        .order_by(PlaceA.walk_order.is_(None), PlaceA.walk_order, PlaceA.name, Item.label, Item.id)
    )
    items = []
    for row in db.execute(query):
        item = as_facts(row)
        title = item_title(item, unit)
        items.append((item.place, SeasonItem(item.id, row.code or "", title, row.season_id is not None)))
    return [
        ChoicesAt(place, [choice for _, choice in group]) for place, group in groupby(items, key=lambda one: one[0])
    ]


def is_name_taken(db: Session, name: str) -> bool:
    """Whether a season has this name, ignoring case."""
    return any(alike(name, other) for other in db.scalars(select(SeasonRow.name)))
