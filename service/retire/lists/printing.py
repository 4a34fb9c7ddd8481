"""A pull list on paper: kept as it was printed, so that what changed since can be told."""

from collections.abc import Callable
from datetime import datetime
from functools import lru_cache
from typing import Any
from uuid import UUID

from markupsafe import Markup
from sqlalchemy.orm import Session

from service.crew.core import Who
from service.gear.queries import ItemFacts
from service.kit.problems import NotFound
from service.retire.decisions.core import Action
from service.retire.lists import queries
from service.retire.lists.actions import PullLine, PullList
from service.retire.lists.core import Changes, Printed, changes
from service.retire.lists.models import PullPrint
from service.web.qr import qr_svg

Named = Callable[[ItemFacts], str]
"""How pages call an item."""


def keep_print(db: Session, print_id: UUID, pull: PullList, name: Named, who: Who, now: datetime) -> None:
    """Keep the open lines as they go to paper now."""
    lines = [as_kept(printed(line, name)) for line in pull.open]
    db.add(PullPrint(id=print_id, event_id=pull.event.id, at=now, person_id=who.id, lines=lines))
    db.flush()


def print_with(db: Session, event_id: UUID, print_id: UUID) -> PullPrint:
    """The print with this id.

    Raises:
        NotFound: there is none of this event's list.
    """
    found = db.get(PullPrint, print_id)
    if found is None or found.event_id != event_id:
        raise NotFound("There is no such print of this list. Open the list and print it again.")
    return found


def since_print(db: Session, pull: PullList, name: Named) -> tuple[PullPrint, Changes] | None:
    """The last print, and what changed since; None where the list was never printed."""
    last = queries.last_print(db, pull.event.id)
    if last is None:
        return None
    done = [line.code for line in pull.lines if line.done is not None]
    return last, changes(lines_of(last), [printed(line, name) for line in pull.open], done)


def printed(line: PullLine, name: Named) -> Printed:
    """A line as paper shows it."""
    _, place, place_b = line.place
    title = name(line.item)
    if place_b:
        title += f", to {place_b}"
    would_fit = ", ".join(f"{code} from {spare.place}" if spare.place else code for spare, code in line.would_fit)
    return Printed(
        line.code,
        title,
        place,
        line.action,
        line.spare_code or "",
        line.why,
        line.spare.place if line.spare else "",
        would_fit,
    )


def lines_of(kept: PullPrint) -> list[Printed]:
    """The lines of a print."""
    return [
        Printed(
            one["code"],
            one["name"],
            one["place"],
            Action(one["action"]),
            one["spare"],
            tuple(one["why"]),
            one.get("spare_place", ""),
            one.get("would_fit", ""),
        )
        for one in kept.lines
    ]


def as_kept(line: Printed) -> dict[str, Any]:
    """A line as its print keeps it."""
    return {
        "code": line.code,
        "name": line.name,
        "place": line.place,
        "action": line.action,
        "spare": line.spare,
        "why": list(line.why),
        "spare_place": line.spare_place,
        "would_fit": line.would_fit,
    }


@lru_cache(maxsize=2048)
def symbol(url: str) -> Markup:
    """The QR code that stands beside a line: it never changes, and takes long to make."""
    return qr_svg(url)
