"""Adding and ending a program's own tester."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.crew.queries import note_in_audit
from service.gear.wirings import find_wiring
from service.kit.problems import Conflict, NotFound, invalid
from service.kit.text import can_be_shown
from service.store.sessions import locked
from service.testers import queries
from service.testlog.models import OwnTester
from service.wiring.tester import Tester, make_tester
from service.wiring.text import patterns_in_text, reach_in_text


@dataclass(frozen=True)
class NewTester:
    """A tester as it was typed; `patterns` has a line for each reading, `reaches` is empty for all but the shells."""

    id: UUID
    name: str
    wiring: str
    sees: str
    reaches: str
    patterns: str


def read_tester(db: Session, new: NewTester) -> tuple[Tester, dict[str, Any]]:
    """The checked tester, and its `patterns` and `probed` as they are stored.

    Raises:
        Invalid: with the field and what is wrong with it.
    """
    wiring = find_wiring(db, new.wiring)
    probed = reach_in_text(wiring, new.reaches)
    patterns = patterns_in_text(wiring, new.patterns, probed)
    made = make_tester(" ".join(new.name.split()), wiring, new.sees, patterns, probed)
    if not can_be_shown(made.name):
        raise invalid("name", "This name has characters that cannot be shown. Type it again.")
    if queries.name_is_taken(db, made.name):
        raise invalid("name", f"There is a tester called “{made.name}” already. Give this one another name.")
    return made, {"patterns": patterns, "probed": probed}


def make_tester_of(db: Session, new: NewTester, actor: Actor) -> str:
    """Save a tester; return its id.

    Raises:
        Invalid: as `read_tester`.
    """
    made, kept = read_tester(db, new)
    db.add(
        OwnTester(
            id=new.id,
            name=made.name,
            wiring=new.wiring,
            sees=made.sees,
            made_by=actor.who.id,
            created_at=actor.now,
            **kept,
        )
    )
    note_in_audit(db, actor.now, actor.who.id, "tester.made", made.name)
    return str(new.id)


def end_tester(db: Session, tester_id: UUID, actor: Actor) -> None:
    """End a tester: it is no longer offered, and its tests stay as they are.

    Raises:
        NotFound, Conflict: there is no such tester, or it has ended.
    """
    own = locked(db, OwnTester, tester_id)
    if own is None:
        raise NotFound("There is no such tester. The list has them all.")
    if own.ended_at is not None:
        raise Conflict("This tester was put away before. Nothing was changed.")
    own.ended_at = actor.now
    note_in_audit(db, actor.now, actor.who.id, "tester.ended", own.name)
