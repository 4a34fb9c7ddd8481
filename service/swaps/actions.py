"""Swapping a spare in for an item that went bad, in one transaction."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.gear import actions as gear
from service.gear import queries as gear_queries
from service.gear.core import ItemState
from service.gear.models import Item
from service.gear.queries import is_suspect, item_facts
from service.kit.problems import NotFound, invalid
from service.swaps.core import NewSwap, SwapPiece, against, refuse
from service.tags.queries import code_of, named_id
from service.testlog.core import FaultStatus, LogEntry, corrected, fault_of, state_after
from service.testlog.effects import lock_with_histories, refresh_due
from service.testlog.models import Swap

_STILL = {
    FaultStatus.SWAPPED: "Swapped out, not tested.",
    FaultStatus.OPEN: "Its fault is still open.",
    FaultStatus.REPAIRED: "It still waits for the test after its repair.",
}


def swap(db: Session, new: NewSwap, actor: Actor) -> dict[str, Any]:
    """Let a spare take the place of the bad item, which is quarantined until a test, or a lead, says otherwise.

    The bad one becomes a spare that may not be used yet: its spare goes to the place where it was.

    Returns:
        `id`, the codes `bad` and `spare` as they are now, the `bad_state` and `spare_state`, the `place`, what
        spoke `against` it, and `received_at`.

    Raises:
        Invalid: with the field; `anyway` where something speaks against it.
        Conflict: one of them is out of use.
    """
    at = corrected(new.at, new.sent_at, actor.now, "at", "swap")
    ids = [named_id(db, new.bad, "bad"), named_id(db, new.spare, "spare")]
    (bad, spare), histories = lock_with_histories(db, ids)
    one, other = piece(db, bad.id), piece(db, spare.id)
    refuse(one, other)
    objections = against(one, other)
    if objections and not new.anyway:
        raise invalid("anyway", " ".join([*objections, "Take another one, or swap them anyway."]))
    placement = gear_queries.placement(db, bad.id)
    db.add(
        Swap(
            id=new.id,
            bad_id=bad.id,
            spare_id=spare.id,
            place_a_id=placement and placement.place_a_id,
            place_b_id=placement and placement.place_b_id,
            at=at,
            received_at=actor.now,
            person_id=actor.who.id,
        )
    )
    _take_place(db, bad, spare, actor)
    _change_states(db, (bad, one.code), (spare, other.code), histories[bad.id], at, actor)
    refresh_due(db, [bad.id, spare.id], actor.now, actor.zone)
    return {
        "id": str(new.id),
        "bad": one.code,
        "spare": other.code,
        "bad_state": bad.state,
        "spare_state": spare.state,
        "place": one.place,
        "against": objections,
        "received_at": actor.now.isoformat(),
    }


def piece(db: Session, item_id: UUID) -> SwapPiece:
    """An item as a swap judges it."""
    item = item_facts(db, [item_id])[item_id]
    return SwapPiece(
        item.id,
        code_of(db, item.id),
        item.kind,
        item.wiring,
        item.length_mm,
        item.state,
        item.place,
        is_suspect(db, item.id),
    )


def swap_with(db: Session, swap_id: UUID) -> Swap:
    """The swap with this id.

    Raises:
        NotFound: there is none.
    """
    swap = db.get(Swap, swap_id)
    if swap is None:
        raise NotFound("There is no such swap.")
    return swap


def _take_place(db: Session, bad: Item, spare: Item, actor: Actor) -> None:
    """The spare lives from now on where the bad one did, and the bad one nowhere."""
    lives = item_facts(db, [bad.id])[bad.id]
    gear.place(db, bad.id, "", "", actor.who, actor.now)
    gear.place(db, spare.id, lives.place, lives.place_b, actor.who, actor.now)


def _change_states(
    db: Session,
    bad: tuple[Item, str],
    spare: tuple[Item, str],
    history: list[LogEntry],
    at: datetime,
    actor: Actor,
) -> None:
    # The bad one has lost its place: what it goes back to after its test is the case with the spares.
    gear.change_state(db, bad[0], ItemState.SPARE, actor.who, actor.now, f"{spare[1]} took its place.")
    stands = fault_of(history, at)
    if stands is not FaultStatus.NONE:
        to = state_after(ItemState.SPARE, ItemState.SPARE, FaultStatus.NONE, stands)
        gear.change_state(db, bad[0], to, actor.who, actor.now, _STILL[stands])
    gear.change_state(db, spare[0], ItemState.IN_SERVICE, actor.who, actor.now, f"Took the place of {bad[1]}.")
