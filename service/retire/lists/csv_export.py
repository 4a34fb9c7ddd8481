"""A pull list as CSV, and the QR codes of its print."""

from functools import lru_cache

from fastapi.responses import Response
from markupsafe import Markup
from sqlalchemy.orm import Session

from service.gear.core import item_title
from service.gear.wirings import wiring_name
from service.kit.csvs import BYTE_ORDER_MARK, write_csv
from service.kit.quantities import Unit, format_length
from service.retire.decisions.core import Action
from service.retire.decisions.queries import LeadDecision
from service.retire.lists.queries import PullList, PullRow
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
    """The list as CSV."""
    wirings = {key: wiring_name(db, key) for key in {row.item.wiring for row in pull.rows}}
    return write_csv(COLUMNS, [_row(row, wirings, unit) for row in pull.rows])


def csv_file(text: str, name: str) -> Response:
    """A response that downloads the text as a CSV file of this name."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return Response((BYTE_ORDER_MARK + text).encode(), 200, headers, "text/csv; charset=utf-8")


def _row(row: PullRow, wirings: dict[str, str], unit: Unit) -> list[object]:
    item, (_, place, place_b) = row.item, row.place
    return [
        "yes" if row.done else "",
        place,
        place_b,
        row.code,
        item_title(item, unit),
        wirings[item.wiring],
        _length(item.length_mm, unit),
        ACTION_WORDS[row.action],
        " ".join(row.why),
        row.spare_code,
        _length(row.spare.length_mm, unit) if row.spare else "",
        row.spare.place if row.spare else "",
        ", ".join(code for _, code in row.would_fit),
        _decision(row.lead_decision) if row.lead_decision else "",
    ]


def _decision(decision: LeadDecision) -> str:
    return f"{decision.by}{f' until {decision.until}' if decision.until else ''}: {decision.reason}"


def _length(length_mm: int, unit: Unit) -> str:
    return format_length(length_mm, unit) if length_mm else ""


@lru_cache(maxsize=2048)
def symbol(url: str) -> Markup:
    """The QR code beside a row, cached: it never changes, and takes long to make."""
    return qr_svg(url)
