"""Setting what gear costs."""

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy.orm import Session

from service.crew.core import Who
from service.crew.queries import note_in_audit
from service.retire.prices import queries
from service.retire.prices.core import Sort
from service.retire.prices.models import GearPrice


def set_prices(db: Session, said: Mapping[Sort, int], who: Who, now: datetime) -> int:
    """Keep what each of these sorts costs from now on, in cents; how many changed."""
    known = queries.prices(db)
    changed = {sort: cents for sort, cents in said.items() if sort not in known or known[sort].cents != cents}
    for sort, cents in changed.items():
        db.add(
            GearPrice(
                kind=sort.kind, wiring=sort.wiring, length_mm=sort.length_mm, cents=cents, at=now, person_id=who.id
            )
        )
    if changed:
        note_in_audit(db, now, who.id, "prices.set", f"{len(changed)} prices")
    return len(changed)
