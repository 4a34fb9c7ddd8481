"""Every look-up about what goes on a worklist, and keeping it in walking order."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from uuid import UUID

from sqlalchemy import Select, and_, or_, select
from sqlalchemy.orm import Session

from service.gear.core import ItemState
from service.gear.models import IS_SUSPECT, ITEM_IS_ASKED, Item, Placement
from service.gear.queries import ItemFacts, as_facts, facts
from service.season.core import DueState
from service.season.models import ItemDue
from service.testlog.models import Swap, Test, WorkItem, WorkSeen


@dataclass(frozen=True)
class WorklistCandidate:
    """An item that a worklist may take in; `swapped` where a spare took its place, and it waits for its test."""

    item: ItemFacts
    place_b_id: UUID | None
    due: DueState | None
    suspect: bool
    swapped: bool


def candidates(db: Session, named: Collection[UUID] = ()) -> list[WorklistCandidate]:
    """Every item that could be tested now, in walking order, and those `named`.

    One with an open fault waits for its repair first.
    """
    testable = (ItemState.IN_SERVICE, ItemState.SPARE, ItemState.IN_REPAIR)
    swapped = and_(
        Item.state == ItemState.QUARANTINED,
        or_(ItemDue.state.is_(None), ItemDue.state != DueState.BLOCKED),
        select(Swap.id).where(Swap.bad_id == Item.id).exists(),
    )
    query = (
        facts()
        .add_columns(
            Placement.place_b_id.label("place_b_id"),
            ItemDue.state.label("due"),
            IS_SUSPECT.label("suspect"),
            swapped.label("swapped"),
        )
        .outerjoin(ItemDue, ItemDue.item_id == Item.id)
        .where(or_(Item.state.in_(testable), swapped, Item.id.in_(named)))
    )
    items = [
        WorklistCandidate(
            as_facts(row),
            row.place_b_id,
            DueState(row.due) if row.due else None,
            bool(row.suspect),
            bool(row.swapped),
        )
        for row in db.execute(query)
    ]
    return sorted(items, key=lambda each: in_walk(each.item))


def in_walk(item: ItemFacts) -> tuple[int, str, str, UUID]:
    """The sort key of lists: walking order, always the same for the same items."""
    return item.walk_order, item.place, item.label, item.id


def countable(db: Session, place_id: UUID | None) -> list[ItemFacts]:
    """What a count expects to see, in walking order: all that lives at a place, or everywhere, and is not lost."""
    query = facts().where(ITEM_IS_ASKED)
    if place_id is not None:
        query = query.where(or_(Placement.place_a_id == place_id, Placement.place_b_id == place_id))
    return sorted(map(as_facts, db.execute(query)), key=in_walk)


def has_begun(db: Session, session_id: UUID) -> bool:
    """Whether anything was tested or seen in a session."""
    test = select(Test.id).where(Test.session_id == session_id)
    seen = select(WorkSeen.item_id).where(WorkSeen.session_id == session_id)
    return bool(db.scalar(select(or_(test.exists(), seen.exists()))))


def set_rows(db: Session, session_id: UUID, why: Mapping[UUID, str]) -> None:
    """Set the items of a worklist, in this order, each with its reason. Claims stay."""
    kept = {line.item_id: line for line in db.scalars(_lines(session_id))}
    for item_id in kept.keys() - why.keys():
        db.delete(kept[item_id])
    for position, (item_id, reason) in enumerate(why.items()):
        if item_id in kept:
            kept[item_id].position = position
        else:
            db.add(
                WorkItem(
                    session_id=session_id,
                    item_id=item_id,
                    position=position,
                    why=reason,
                    claimed_by=None,
                    claimed_until=None,
                )
            )
    db.flush()


def reasons(db: Session, session_id: UUID) -> dict[UUID, str]:
    """The items of a worklist in its order, each with its reason."""
    return {line.item_id: line.why for line in db.scalars(_lines(session_id))}


def _lines(session_id: UUID) -> Select[WorkItem]:
    return select(WorkItem).where(WorkItem.session_id == session_id).order_by(WorkItem.position)
