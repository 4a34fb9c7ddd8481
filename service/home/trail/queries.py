"""Queries for the audit trail, and for the gear that it mentions."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import Row, exists, func, select
from sqlalchemy.orm import Session

from service.crew.models import AuditEntry, Person
from service.gear.queries import ItemFacts, item_facts
from service.kit.text import is_id
from service.store.paging import beyond, cursor, position
from service.tags.models import Tag
from service.tags.queries import codes_of
from service.testlog.queries import items_of


@dataclass(frozen=True)
class TrailFilter:
    """The filter of the trail; None is no condition. Days are given as the instants `since` and (excluded) `until`."""

    person_id: UUID | None = None
    action: str | None = None
    since: datetime | None = None
    until: datetime | None = None


def entries(
    db: Session, trail_filter: TrailFilter, after: str | None, size: int
) -> tuple[Sequence[AuditEntry], str | None]:
    """A page of the trail, the newest entry first, and the cursor of the next page, if there is one."""
    query = select(AuditEntry).order_by(AuditEntry.at.desc(), AuditEntry.id.desc()).limit(size + 1)
    if trail_filter.person_id:
        query = query.where(AuditEntry.person_id == trail_filter.person_id)
    if trail_filter.action:
        query = query.where(AuditEntry.action == trail_filter.action)
    if trail_filter.since:
        query = query.where(AuditEntry.at >= trail_filter.since)
    if trail_filter.until:
        query = query.where(AuditEntry.at < trail_filter.until)
    if after:
        query = query.where(beyond((AuditEntry.at, AuditEntry.id), position(after, datetime, int), down=True))
    rows = db.scalars(query).all()
    page = rows[:size]
    return page, cursor(page[-1].at, page[-1].id) if len(rows) > size else None


def actions_there(db: Session) -> Sequence[str]:
    """Every action in the trail. Each is found in the index after the one before, instead of reading every entry."""
    first = select(func.min(AuditEntry.action).label("action")).cte("there", recursive=True)
    following = select(func.min(AuditEntry.action)).where(AuditEntry.action > first.c.action).scalar_subquery()
    there = first.union_all(select(following).where(first.c.action.is_not(None)))
    return db.scalars(select(there.c.action).where(there.c.action.is_not(None)).order_by(there.c.action)).all()


def actors(db: Session) -> Sequence[Row[UUID, str, datetime | None]]:
    """Everybody in the trail: id, name, and since when they have had no access."""
    return db.execute(
        select(Person.id, Person.display_name, Person.ended_at)
        .where(exists().where(AuditEntry.person_id == Person.id))
        .order_by(Person.display_name, Person.id)
    ).all()


@dataclass(frozen=True)
class TrailSubject:
    """The gear that an entry is about: its items, each with its present code, and the test that it names."""

    items: list[tuple[str, ItemFacts]]
    test_id: UUID | None = None


def gear_of(db: Session, subjects: Collection[str]) -> dict[str, TrailSubject]:
    """The gear of those subjects that name gear: by a code, an item's id, or the id of a test."""
    ids = {UUID(each) for each in subjects if is_id(each)}
    tests = items_of(db, ids)
    coded = select(Tag.code, Tag.item_id).where(Tag.code.in_(subjects), Tag.item_id.is_not(None))
    tagged = {code: item_id for code, item_id in db.execute(coded) if item_id is not None}
    wanted = ids | {item_id for through in tests.values() for item_id in through} | set(tagged.values())
    items, codes = item_facts(db, wanted), codes_of(db, wanted)

    def namer(item_ids: Collection[UUID]) -> list[tuple[str, ItemFacts]]:
        return [(codes[each], items[each]) for each in item_ids if each in items and each in codes]

    gear = {str(test_id): TrailSubject(namer(through), test_id) for test_id, through in tests.items() if through}
    gear |= {str(item_id): TrailSubject(namer([item_id])) for item_id in ids if item_id in items}
    return gear | {code: TrailSubject(namer([item_id])) for code, item_id in tagged.items()}
