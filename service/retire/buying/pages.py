"""The season's list to buy, as a page and as CSV."""

from fastapi import APIRouter
from fastapi.responses import Response
from sqlalchemy.orm import Session

from service.crew.context import RequestContext, ViewerContext
from service.gear.core import KINDS
from service.gear.wirings import wiring_name
from service.kit.csvs import write_csv
from service.kit.lengths import Unit, format_length
from service.retire.buying import actions
from service.retire.buying.actions import Buying
from service.retire.lists.sheet import csv_file
from service.retire.prices.core import Sort
from service.testlog.housekeeping import ensure_today

router = APIRouter(include_in_schema=False)

COLUMNS = (
    "kind",
    "wiring",
    "length",
    "missing on the pull list",
    "spares to add",
    "to buy",
    "each, $",
    "total, $",
    "bought last season",
    "last season, $",
)


@router.get("/buying")
def buying_page(desk: ViewerContext) -> Response:
    """What to buy, what it costs, and what to repair instead."""
    ensure_today(desk)
    with desk.reading() as db:
        found = actions.buying(db, desk.today, desk.zone, desk.program)
        return desk.page("retire/buying.html", buying=found, names=_names(desk, db, found))


@router.get("/buying.csv")
def buying_csv(desk: ViewerContext) -> Response:
    """The list for a spreadsheet."""
    ensure_today(desk)
    with desk.reading() as db:
        found = actions.buying(db, desk.today, desk.zone, desk.program)
        rows = actions.as_rows(found.buys, _names(desk, db, found))
    return csv_file(write_csv(COLUMNS, rows), f"to-buy-{desk.today}.csv")


def _names(desk: RequestContext, db: Session, found: Buying) -> dict[Sort, tuple[str, str, str]]:
    """Kind, wiring and length of each sort in words."""
    unit = Unit(desk.program.unit)
    return {
        each.sort: (
            KINDS[each.sort.kind].page,
            wiring_name(db, each.sort.wiring),
            format_length(each.sort.length_mm, unit) if each.sort.length_mm else "",
        )
        for each in found.buys
    }
