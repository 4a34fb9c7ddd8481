"""Every look-up about pull lists; each table is read once, however many items there are."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Select, and_, func, or_, select
from sqlalchemy.orm import Session, aliased

from service.crew.models import Person
from service.gear.core import USABLE, FlagKind, ItemState
from service.gear.models import Flag, Item, Place, Port, StateChange
from service.gear.queries import NOWHERE, ItemFacts, PlaceA, as_facts, facts
from service.retire.decisions.core import Action
from service.retire.decisions.models import Overrule
from service.retire.lists.models import PullPrint, PullTick, PullUntick
from service.retire.replacements.core import Ports
from service.season.core import Due, DueState
from service.season.models import ItemDue
from service.store.sessions import chunks
from service.tags.models import Tag


@dataclass(frozen=True)
class ItemStanding:
    """An item that may be in use or go in as a spare: its cached due state, until when that holds, its last pass."""

    item: ItemFacts
    code: str
    due: Due
    changes_on: date | None
    passed_at: datetime | None


@dataclass(frozen=True)
class Ticked:
    """A tick that stands: what was done about which item, by whom, what went in, and where that was."""

    id: UUID
    item_id: UUID
    action: Action
    why: tuple[str, ...]
    spare_id: UUID | None
    place: str
    place_b: str
    walk_order: int
    at: datetime
    by: str


def asked(db: Session, on: date) -> list[ItemStanding]:
    """What is in service or spare by `on`, and what was in service until its fault was found; in walking order."""
    waiting = Item.state.in_((ItemState.QUARANTINED, ItemState.IN_REPAIR))
    home = (
        select(StateChange.to_state)
        .where(StateChange.item_id == Item.id, StateChange.to_state.in_(USABLE))
        .order_by(StateChange.id.desc())
        .limit(1)
        .scalar_subquery()
    )
    query = (
        facts()
        .add_columns(Tag.code, ItemDue.state, ItemDue.due_by, ItemDue.round, ItemDue.changes_on, ItemDue.last_passed_at)
        .outerjoin(Tag, (Tag.item_id == Item.id) & Tag.until.is_(None))
        .join(ItemDue, ItemDue.item_id == Item.id)
        .where(Item.in_service_on <= on, or_(Item.state.in_(USABLE), and_(waiting, home == ItemState.IN_SERVICE)))
        .order_by(PlaceA.walk_order.is_(None), PlaceA.walk_order, PlaceA.name, Item.label, Item.length_mm, Tag.code)
    )
    return [
        ItemStanding(as_facts(row), row[-6] or "", Due(DueState(row[-5]), row[-4], row[-3]), row[-2], row[-1])
        for row in db.execute(query)
    ]


def suspects(db: Session) -> dict[UUID, str]:
    """What was said of each item that is suspected now."""
    query = select(Flag.item_id, Flag.note).where(Flag.flag == FlagKind.SUSPECT, Flag.cleared_at.is_(None))
    return {row.item_id: row.note for row in db.execute(query.order_by(Flag.id))}


def ports(db: Session, item_ids: Collection[UUID]) -> dict[UUID, Ports]:
    """The connectors of each of these items, as they have to be the same in what goes in for it."""
    found: dict[UUID, list[tuple[str, int, str, str]]] = defaultdict(list)
    for ids in chunks(item_ids):
        query = select(Port.item_id, Port.end, Port.connector, Port.type, Port.gender)
        for item_id, *port in db.execute(query.where(Port.item_id.in_(ids)).order_by(Port.end, Port.connector)):
            found[item_id].append(tuple(port))  # type: ignore[arg-type]
    return {item_id: tuple(each) for item_id, each in found.items()}


def ticked(db: Session, event_id: UUID) -> list[Ticked]:
    """The ticks of an event's list that stand, the last first."""
    return [_as_ticked(row) for row in db.execute(_standing().where(PullTick.event_id == event_id))]


def tick_of(db: Session, event_id: UUID, item_id: UUID) -> Ticked | None:
    """The tick of one item that stands."""
    query = _standing().where(PullTick.event_id == event_id, PullTick.item_id == item_id)
    row = db.execute(query.limit(1)).first()
    return _as_ticked(row) if row else None


def _standing() -> Select[*tuple[object, ...]]:
    place_a, place_b = aliased(Place), aliased(Place)
    return (
        select(PullTick, place_a.name, place_b.name, place_a.walk_order, Person.display_name)
        .outerjoin(PullUntick, PullUntick.tick_id == PullTick.id)
        .outerjoin(place_a, place_a.id == PullTick.place_a_id)
        .outerjoin(place_b, place_b.id == PullTick.place_b_id)
        .outerjoin(Person, Person.id == PullTick.person_id)
        .where(PullUntick.tick_id.is_(None))
        .order_by(PullTick.at.desc(), PullTick.id)
    )


def _as_ticked(row: Sequence[Any]) -> Ticked:
    tick, place, place_b, order, by = row
    return Ticked(
        tick.id,
        tick.item_id,
        Action(tick.action),
        tuple(tick.why),
        tick.spare_id,
        place or "",
        place_b or "",
        order if order is not None else NOWHERE,
        tick.at,
        by or "",
    )


def is_taken_back(db: Session, tick_id: UUID) -> bool:
    """Whether a tick was taken back."""
    return db.get(PullUntick, tick_id) is not None


def worked_since(db: Session, since: datetime) -> UUID | None:
    """The event whose list was last ticked since then."""
    query = select(PullTick.event_id).where(PullTick.received_at >= since)
    return db.scalar(query.order_by(PullTick.received_at.desc()).limit(1))


def last_print(db: Session, event_id: UUID) -> PullPrint | None:
    """How an event's list last went to paper."""
    query = select(PullPrint).where(PullPrint.event_id == event_id)
    return db.scalar(query.order_by(PullPrint.at.desc(), PullPrint.id).limit(1))


def has_history(db: Session, event_id: UUID) -> bool:
    """Whether anything was ticked or overruled on an event's list, or it was printed."""
    return any(
        db.scalar(select(func.count()).select_from(table).where(table.event_id == event_id))
        for table in (PullTick, PullPrint, Overrule)
    )
