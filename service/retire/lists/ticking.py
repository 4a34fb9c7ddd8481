"""Ticking a row of a pull list, and taking a tick back, with the changes of states and places, in one transaction."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.gear import actions as gear
from service.gear import queries as gear_queries
from service.gear.core import ItemState
from service.gear.models import Item, Place, Placement
from service.kit.problems import Conflict, NotFound, invalid
from service.kit.text import one_line
from service.retire.decisions.core import Action
from service.retire.lists import queries
from service.retire.lists.models import PullTick, PullUntick
from service.season.queries import get_event
from service.swaps.actions import swap
from service.swaps.core import NewSwap
from service.tags.queries import code_of, named_item
from service.testlog import actions as testlog
from service.testlog.core import corrected
from service.testlog.effects import lock_with_histories, refresh_due

_OUT = {Action.RETIRE: ItemState.RETIRED, Action.REPAIR_FIRST: ItemState.QUARANTINED}
_REASONS = {
    Action.RETIRE: "Retired by the pull list of {event}. {why}",
    Action.REPAIR_FIRST: "Pulled for repair before {event}. {why}",
}
WHY_MOST = 9
WHY_LONGEST = 400
"""Characters."""
_OUT_OF_USE = (ItemState.RETIRED, ItemState.LOST)


@dataclass(frozen=True)
class NewTick:
    """A tick as it is sent; `id` is made by the client, `item` and `spare` (None: nothing goes in) are codes.

    `at` and `sent_at` are the client's times; without `at` it was done now. `anyway` confirms the spare in spite of
    what speaks against it; `why` are the reasons of the row, at most `WHY_MOST` sentences.
    """

    id: UUID
    event: str
    item: str
    action: Action
    spare: str | None = None
    why: tuple[str, ...] = ()
    at: datetime | None = None
    sent_at: datetime | None = None
    anyway: bool = False


def tick(db: Session, new: NewTick, actor: Actor) -> dict[str, Any]:
    """Tick a row: the item that comes out is quarantined or retired, and its spare gets its place.

    If the item was ticked before, by anybody, nothing changes, and `already` says so.

    Returns:
        `id`, the codes `item` and `spare`, the `action`, both states, `already`, `received_at`.

    Raises:
        NotFound: there is no such event.
        Invalid: with the field; `anyway` where something speaks against the spare.
        Conflict: one of the two is out of use.
    """
    event = get_event(db, new.event)
    at = corrected(new.at, new.sent_at, actor.now, "at", "tick")
    item = named_item(db, new.item, "item")
    spare = named_item(db, new.spare, "spare") if new.spare and new.action in _OUT else None
    lock_with_histories(db, [item.id, spare.id] if spare else [item.id])
    earlier = queries.tick_of(db, event.id, item.id)
    if earlier is not None:
        return _answer(db, new.id, item, earlier.spare_id, earlier.action, actor.now, already=True)
    if new.action in _OUT and item.state in _OUT_OF_USE:
        raise Conflict(f"{code_of(db, item.id)} is {item.state} in the book already. Tell your lead.")
    before, placement = ItemState(item.state), gear_queries.placement(db, item.id)
    case = gear_queries.placement(db, spare.id) if spare else None
    if new.action in _OUT:
        reason = _REASONS[new.action].format(event=event.name, why=" ".join(new.why)).strip()
        _take_out(db, new, item, reason, actor)
    db.add(
        PullTick(
            id=new.id,
            event_id=event.id,
            item_id=item.id,
            spare_id=spare and spare.id,
            action=new.action,
            why=list(new.why),
            state_before=before,
            state_after=item.state,
            place_a_id=placement and placement.place_a_id,
            place_b_id=placement and placement.place_b_id,
            spare_place_id=case and case.place_a_id,
            at=at,
            received_at=actor.now,
            person_id=actor.who.id,
        )
    )
    db.flush()
    return _answer(db, new.id, item, spare.id if spare else None, new.action, actor.now, already=False)


def _take_out(db: Session, new: NewTick, item: Item, reason: str, actor: Actor) -> None:
    if new.spare:
        swap(db, NewSwap(new.id, new.item, new.spare, new.at, new.sent_at, new.anyway), actor)
    waits = item.state in (ItemState.QUARANTINED, ItemState.IN_REPAIR)
    if new.action is Action.RETIRE or not waits:
        testlog.change_state(db, item.id, _OUT[new.action], reason, actor.who, actor.now, actor.zone)


def take_back(db: Session, event_id: UUID, tick_id: UUID, actor: Actor) -> None:
    """Undo a tick: the spare goes back to its case, and the item to its place and state.

    Raises:
        NotFound: there is no such tick on this list.
        Conflict: the state or place of one of them has changed since; nothing is undone then.
    """
    tick = db.get(PullTick, tick_id)
    if tick is None or tick.event_id != event_id:
        raise NotFound("There is no such tick on this list. Open the list again.")
    if queries.is_taken_back(db, tick_id):
        return
    ids = [tick.item_id, tick.spare_id] if tick.spare_id else [tick.item_id]
    items, _ = lock_with_histories(db, ids)
    _refuse_moved_on(db, tick, items)
    if Action(tick.action) in _OUT:
        _put_back(db, tick, items, actor)
    db.add(PullUntick(tick_id=tick_id, at=actor.now, person_id=actor.who.id))
    refresh_due(db, ids, actor.now, actor.zone)


def _refuse_moved_on(db: Session, tick: PullTick, items: list[Item]) -> None:
    expected = [ItemState(tick.state_after), ItemState.IN_SERVICE]
    for item, state in zip(items, expected, strict=False):
        if item.state != state and Action(tick.action) in _OUT:
            raise Conflict(
                f"{code_of(db, item.id)} is {item.state.replace('_', ' ')} by now, so the tick cannot be taken back. "
                "Change its state by hand, or tell your lead."
            )
    if tick.spare_id is not None:
        lives = gear_queries.placement(db, tick.spare_id)
        if _where(lives) != (tick.place_a_id, tick.place_b_id):
            raise Conflict(
                f"{code_of(db, tick.spare_id)} lives elsewhere by now, so the tick cannot be taken back. "
                "Move it by hand, or tell your lead."
            )
        for place_id in filter(None, (tick.place_a_id, tick.place_b_id, tick.spare_place_id)):
            place = db.get_one(Place, place_id)
            if place.ended_at is not None:
                raise Conflict(
                    f"The place {place.name} was removed since, so the tick cannot be taken back. "
                    "Move them by hand, or tell your lead."
                )


def _put_back(db: Session, tick: PullTick, items: list[Item], actor: Actor) -> None:
    why = "A tick of the pull list was taken back."
    if tick.spare_id is not None:
        gear.place(db, tick.spare_id, _name(db, tick.spare_place_id), "", actor.who, actor.now)
        gear.change_state(db, items[1], ItemState.SPARE, actor.who, actor.now, why)
        gear.place(db, tick.item_id, _name(db, tick.place_a_id), _name(db, tick.place_b_id), actor.who, actor.now)
        if tick.state_before not in (ItemState.IN_SERVICE, ItemState.SPARE):
            # Its home state is in service again, not spare, which the swap had made it: see `gear.core.home_state`.
            gear.change_state(db, items[0], ItemState.IN_SERVICE, actor.who, actor.now, why)
    gear.change_state(db, items[0], ItemState(tick.state_before), actor.who, actor.now, why)


def _where(placement: Placement | None) -> tuple[UUID | None, UUID | None]:
    return (placement.place_a_id, placement.place_b_id) if placement else (None, None)


def _name(db: Session, place_id: UUID | None) -> str:
    return db.get_one(Place, place_id).name if place_id else ""


def _answer(
    db: Session, tick_id: UUID, item: Item, spare_id: UUID | None, action: Action, now: datetime, *, already: bool
) -> dict[str, Any]:
    spare = db.get_one(Item, spare_id) if spare_id else None
    return {
        "id": str(tick_id),
        "item": code_of(db, item.id),
        "action": action,
        "item_state": item.state,
        "spare": code_of(db, spare.id) if spare else None,
        "spare_state": spare.state if spare else None,
        "already": already,
        "received_at": now.isoformat(),
    }


def read_action(text: str) -> Action:
    """The action with this name, of a form or a URL.

    Raises:
        Invalid: there is none of this name.
    """
    if text not in list(Action):
        raise invalid("action", "This page is out of date. Open the list again and tick it there.")
    return Action(text)


def read_reasons(texts: Sequence[object]) -> tuple[str, ...]:
    """The reasons of a row when it was ticked, at most `WHY_MOST`, without control characters."""
    return tuple(one_line(str(text))[:WHY_LONGEST] for text in texts[:WHY_MOST])
