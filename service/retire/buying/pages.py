"""The season's list to buy, as a page and as CSV."""

from fastapi.responses import Response
from sqlalchemy.orm import Session

from service.crew.context import RequestContext, ViewerContext, page_router
from service.gear.core import KINDS
from service.gear.wirings import wiring_name
from service.kit.csvs import write_csv
from service.kit.quantities import Unit, format_length
from service.retire.buying import actions
from service.retire.buying.actions import Buying
from service.retire.decisions.core import Sort
from service.retire.lists.csv_export import csv_file
from service.testlog.housekeeping import ensure_today

router = page_router()

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
    "last season without a price",
)


@router.get("/buying")
def buying_page(context: ViewerContext) -> Response:
    """What to buy, what it costs, and what to repair instead."""
    ensure_today(context)
    with context.reading() as db:
        buying = actions.buying(db, context.today, context.zone, context.program)
        return context.page("retire/buying.html", buying=buying, names=_names(context, db, buying))


@router.get("/buying.csv")
def buying_csv(context: ViewerContext) -> Response:
    """The list for a spreadsheet."""
    ensure_today(context)
    with context.reading() as db:
        buying = actions.buying(db, context.today, context.zone, context.program)
        rows = actions.as_rows(buying.buys, _names(context, db, buying))
    return csv_file(write_csv(COLUMNS, rows), f"to-buy-{context.today}.csv")


def _names(context: RequestContext, db: Session, buying: Buying) -> dict[Sort, tuple[str, str, str]]:
    """The kind, wiring and length of each sort in words."""
    unit = Unit(context.program.unit)
    return {
        each.sort: (
            KINDS[each.sort.kind].page,
            wiring_name(db, each.sort.wiring),
            format_length(each.sort.length_mm, unit) if each.sort.length_mm else "",
        )
        for each in buying.buys
    }
