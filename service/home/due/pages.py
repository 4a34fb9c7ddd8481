"""The page of what is due, for a walk from place to place, with the state of each item."""

from collections.abc import Callable
from datetime import date
from itertools import groupby

from fastapi.responses import Response
from sqlalchemy.orm import Session

from service.crew.context import RequestContext, ViewerContext, page_router
from service.gear.core import item_name
from service.gear.queries import ItemFacts
from service.home.due import queries
from service.home.due.queries import Page
from service.kit.dates import parse_date
from service.kit.problems import Invalid
from service.kit.quantities import Unit
from service.season.core import DueState
from service.season.queries import due_counts
from service.store.paging import PAGE
from service.testlog.housekeeping import ensure_today
from service.web.forms import Form

router = page_router()

OPEN = tuple(state for state in DueState if state is not DueState.CURRENT)
"""States that need a test; `current` is shown only if it is selected."""


@router.get("/due")
def due(context: ViewerContext, on: str = "", state: str = "", after: str = "") -> Response:
    """What is due, today or as of another day."""
    ensure_today(context)
    with context.reading() as db:
        form = Form(values={"on": on})
        day = context.today
        try:
            day = parse_date(on, "on") if on else day
        except Invalid as refusal:
            form = form.refused(refusal)
        chosen = DueState(state) if state in list(DueState) else None
        counts, (lines, following) = _looked_up(db, context, day, (chosen,) if chosen else OPEN, after or None)
        return context.page(
            "home/due.html",
            form=form,
            on=day,
            chosen=chosen,
            counts=counts,
            places=[(place, list(here)) for place, here in groupby(lines, key=lambda line: line.item.place)],
            asked=sum(counts.values()),
            following=following,
            name=_namer(context),
            states=list(DueState),
        )


def _looked_up(
    db: Session, context: RequestContext, day: date, wanted: tuple[DueState, ...], after: str | None
) -> tuple[dict[DueState, int], Page]:
    if day == context.today:
        return due_counts(db), queries.walk(db, wanted, PAGE, after)
    dues = queries.reckoned(db, day, context.zone)
    counts = {state: sum(due.state is state for due in dues.values()) for state in DueState}
    return counts, queries.walk_through(db, dues, wanted, PAGE, after)


def _namer(context: RequestContext) -> Callable[[ItemFacts], str]:
    unit = Unit(context.program.unit)

    def name(item: ItemFacts) -> str:
        return item_name(item.kind, item.length_mm, unit)

    return name
