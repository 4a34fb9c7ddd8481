"""The item that a page of a tester is about."""

from dataclasses import dataclass
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.context import RequestContext
from service.gear.core import item_title
from service.gear.queries import item_facts
from service.gear.wirings import wiring_name
from service.kit.quantities import Unit
from service.tags.queries import code_of, item_with
from service.testlog.queries import open_session_with


@dataclass(frozen=True)
class TestedItem:
    """An item as pages of testers show it; `length_mm` 0 if it has none, `session` today's with it on its worklist."""

    id: UUID
    code: str
    name: str
    stands: str
    wiring: str
    wiring_name: str
    length_mm: int
    gauge_awg: int | None
    session: UUID | None


def about(context: RequestContext, db: Session, code: str) -> TestedItem:
    """The item that this code is on.

    Raises:
        Invalid, NotFound, Gone: the code is none, is on nothing, or was replaced.
    """
    item = item_with(db, code)
    session = open_session_with(db, item.id, context.today)
    return TestedItem(
        item.id,
        code_of(db, item.id),
        item_title(item, Unit(context.program.unit)),
        item_facts(db, [item.id])[item.id].stands,
        item.wiring,
        wiring_name(db, item.wiring),
        item.length_mm,
        item.gauge_awg,
        session.id if session else None,
    )
