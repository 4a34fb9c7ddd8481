"""A pull list as a table for a spreadsheet, and on paper: kept as it was printed, so that what changed since shows."""

from collections.abc import Callable
from functools import lru_cache
from typing import Any
from uuid import UUID

from fastapi.responses import Response
from markupsafe import Markup
from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.gear.core import item_title
from service.gear.queries import ItemFacts
from service.gear.wirings import wiring_name
from service.kit.csvs import BYTE_ORDER_MARK, write_csv
from service.kit.lengths import Unit, format_length
from service.kit.problems import NotFound
from service.retire.decisions.core import Action
from service.retire.lists import queries
from service.retire.lists.core import Changes, Printed, changes
from service.retire.lists.models import PullPrint
from service.retire.lists.queries import PullLine, PullList
from service.web.qr import qr_svg

ACTION_WORDS = {
    Action.RETIRE: "Retire it",
    Action.REPAIR_FIRST: "Repair it first",
    Action.TEST_FIRST: "Test it first",
    Action.WATCH: "Watch it",
}
COLUMNS = (
    "done",
    "place",
    "to",
    "code",
    "item",
    "wiring",
    "length",
    "do",
    "why",
    "goes in",
    "its length",
    "it lies at",
    "would fit, test it first",
    "lead’s word",
)


def as_csv(db: Session, pull: PullList, unit: Unit) -> str:
    """The list, a row a line."""
    wirings = {key: wiring_name(db, key) for key in {line.item.wiring for line in pull.lines}}
    return write_csv(COLUMNS, [_row(line, wirings, unit) for line in pull.lines])


def csv_file(text: str, name: str) -> Response:
    """A CSV file to keep under this name."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return Response((BYTE_ORDER_MARK + text).encode(), 200, headers, "text/csv; charset=utf-8")


def _row(line: PullLine, wirings: dict[str, str], unit: Unit) -> list[object]:
    item, (_, place, place_b) = line.item, line.place
    return [
        "yes" if line.done else "",
        place,
        place_b,
        line.code,
        item_title(item, unit),
        wirings[item.wiring],
        _length(item.length_mm, unit),
        ACTION_WORDS[line.action],
        " ".join(line.why),
        line.spare_code,
        _length(line.spare.length_mm, unit) if line.spare else "",
        line.spare.place if line.spare else "",
        ", ".join(code for _, code in line.would_fit),
        f"{line.word.by}: {line.word.reason}" if line.word else "",
    ]


def _length(length_mm: int, unit: Unit) -> str:
    return format_length(length_mm, unit) if length_mm else ""


ItemNamer = Callable[[ItemFacts], str]
"""How pages call an item."""


def keep_print(db: Session, print_id: UUID, pull: PullList, name: ItemNamer, actor: Actor) -> None:
    """Keep the open lines as they go to paper now."""
    lines = [as_saved(printed(line, name)) for line in pull.open]
    db.add(PullPrint(id=print_id, event_id=pull.event.id, at=actor.now, person_id=actor.who.id, lines=lines))
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


def since_print(db: Session, pull: PullList, name: ItemNamer) -> tuple[PullPrint, Changes] | None:
    """The last print, and what changed since; None where the list was never printed."""
    last = queries.last_print(db, pull.event.id)
    if last is None:
        return None
    done = [line.code for line in pull.lines if line.done is not None]
    return last, changes(lines_of(last), [printed(line, name) for line in pull.open], done)


def printed(line: PullLine, name: ItemNamer) -> Printed:
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


def lines_of(saved: PullPrint) -> list[Printed]:
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
        for one in saved.lines
    ]


def as_saved(line: Printed) -> dict[str, Any]:
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
