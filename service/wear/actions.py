"""Setting the program's target for unavailability."""

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.crew.queries import note_in_audit
from service.wear.models import WearTarget


def set_target(db: Session, per_mille: int, actor: Actor) -> None:
    """Set the program's target for unavailability, in thousandths."""
    db.merge(WearTarget(id=1, per_mille=per_mille))
    note_in_audit(db, actor.now, actor.who.id, "wear.target", f"{per_mille} in 1,000")
