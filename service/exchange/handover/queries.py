"""Every query about handing over: the links, and what the next lead has to know."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from service.crew.core import Role
from service.crew.models import PERSON_IS_HERE, Person
from service.exchange.handover.models import HandOver
from service.gear.core import ItemState
from service.gear.models import Item
from service.gear.queries import ItemFacts, PlaceA, as_facts, facts
from service.season.core import DueState
from service.season.models import ItemDue
from service.tags.models import IS_TAG_OF_ITEM, Tag
from service.testlog.core import Verdict
from service.testlog.faults import titles
from service.testlog.models import NOT_VOIDED, Test, TestItem, Void
from service.testlog.queries import faults_of


def open_links(db: Session, now: datetime, made_by: UUID | None = None) -> Sequence[HandOver]:
    """The links that can still be used, of everybody or of one lead, the newest first."""
    query = select(HandOver).where(HandOver.ended_at.is_(None), HandOver.expires_at > now)
    if made_by is not None:
        query = query.where(HandOver.made_by == made_by)
    return db.scalars(query.order_by(HandOver.created_at.desc(), HandOver.id)).all()


def counts(db: Session) -> dict[str, dict[ItemState, int]]:
    """How many items of each kind are in each state."""
    by_kind: dict[str, dict[ItemState, int]] = {}
    query = select(Item.kind, Item.state, func.count()).group_by(Item.kind, Item.state).order_by(Item.kind)
    for kind, state, count in db.execute(query):
        by_kind.setdefault(kind, {})[ItemState(state)] = count
    return by_kind


def in_states(db: Session, states: Sequence[ItemState], most: int) -> list[tuple[ItemFacts, str]]:
    """The items in these states with their codes, in walking order, at most `most`."""
    query = _walk().where(Item.state.in_(states)).limit(most)
    return [(as_facts(row), row.code or "") for row in db.execute(query)]


def overdue(db: Session, most: int) -> list[tuple[ItemFacts, str]]:
    """The items whose round has closed without a pass, with their codes, in walking order, at most `most`."""
    query = _walk().join(ItemDue, ItemDue.item_id == Item.id).where(ItemDue.state == DueState.OVERDUE).limit(most)
    return [(as_facts(row), row.code or "") for row in db.execute(query)]


def _walk() -> Select[*tuple[Any, ...]]:
    return (
        facts()
        .add_columns(Tag.code.label("code"))
        .outerjoin(Tag, IS_TAG_OF_ITEM)
        .order_by(PlaceA.walk_order.is_(None), PlaceA.walk_order, PlaceA.name, Item.label, Item.id)
    )


def last_faults(db: Session, item_ids: Sequence[UUID]) -> dict[UUID, str]:
    """The faults of the last failed test of each of these items, in words."""
    query = (
        select(TestItem.item_id, Test)
        .join(Test, Test.id == TestItem.test_id)
        .outerjoin(Void, Void.test_id == Test.id)
        .where(TestItem.item_id.in_(item_ids), Test.verdict == Verdict.FAIL, NOT_VOIDED)
        .order_by(Test.tested_at, Test.id)
    )
    last = {row.item_id: row.Test for row in db.execute(query)}
    faults = faults_of(db, [test.id for test in last.values()])
    return {item_id: "; ".join(titles(db, test.wiring, faults[test.id])) for item_id, test in last.items()}


def people_with_access(db: Session) -> tuple[list[Person], int]:
    """Leads and viewers by name, and the number of crew members."""
    grown = select(Person).where(PERSON_IS_HERE, Person.role.in_((Role.LEAD, Role.VIEWER)))
    crew = select(func.count()).where(PERSON_IS_HERE, Person.role == Role.CREW)
    return list(db.scalars(grown.order_by(Person.role, Person.display_name))), db.scalar(crew) or 0
