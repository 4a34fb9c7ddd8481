"""Setting the program's thresholds and prices, and a lead's decision on an item."""

from collections.abc import Mapping
from dataclasses import asdict
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.crew.queries import note_in_audit
from service.retire.decisions import queries
from service.retire.decisions.core import Limits, NewLeadDecision, Sort
from service.retire.decisions.models import GearPrice, Overrule
from service.swaps.models import PullLimits


def set_limits(db: Session, new: Limits, actor: Actor) -> None:
    """Set the program's thresholds."""
    db.merge(PullLimits(id=1, **asdict(new)))
    note_in_audit(db, actor.now, actor.who.id, "pull.limits", "thresholds of the pull list", asdict(new))


def overrule(db: Session, event_id: UUID, item_id: UUID, decision: NewLeadDecision, actor: Actor) -> None:
    """Save a lead's decision on an item; without an action the advice counts again."""
    db.add(Overrule(event_id=event_id, item_id=item_id, **asdict(decision), at=actor.now, person_id=actor.who.id))
    noted = {"action": decision.action, "reason": decision.reason, "until": decision.until.isoformat()}
    note_in_audit(db, actor.now, actor.who.id, "pull.overruled", str(item_id), noted)


def set_prices(db: Session, prices: Mapping[Sort, int], actor: Actor) -> int:
    """Set the prices of sorts from now on, in cents; return how many changed."""
    known = queries.prices(db)
    changed = {sort: cents for sort, cents in prices.items() if sort not in known or known[sort].cents != cents}
    for sort, cents in changed.items():
        db.add(
            GearPrice(
                kind=sort.kind,
                wiring=sort.wiring,
                length_mm=sort.length_mm,
                cents=cents,
                at=actor.now,
                person_id=actor.who.id,
            )
        )
    if changed:
        note_in_audit(db, actor.now, actor.who.id, "prices.set", f"{len(changed)} prices")
    return len(changed)
