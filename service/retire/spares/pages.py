"""The page of spares: what to carry on a trip, against what is in the case, and what to add for the money there is."""

from collections.abc import Callable

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import LeadContext, RequestContext, ViewerContext
from service.gear.wirings import wiring_name
from service.kit.counts import parse_count
from service.kit.money import format_money, parse_money
from service.kit.problems import Invalid
from service.retire.lists.actions import event_for
from service.retire.spares import actions
from service.retire.spares.core import Trip
from service.testlog.housekeeping import ensure_today
from service.web.forms import Posted, new_op, read_op

router = APIRouter(include_in_schema=False)

DAYS_MOST = 30
FIELDS = ("days", "percent", "budget")


@router.get("/spares")
def spares_page(context: ViewerContext, event: str | None = None) -> Response:
    """The case for the trip to an event, to the next one where none is named."""
    ensure_today(context)
    with context.reading() as db:
        return _page(context, db, event or None)


@router.post("/spares")
def set_trip(context: LeadContext, posted: Posted) -> Response:
    """Keep what spares are carried for."""
    values = {name: str(posted.get(name) or "") for name in FIELDS}
    event = str(posted.get("event") or "") or None
    op = read_op(posted.get("op"))
    try:
        new = _typed(posted)
    except Invalid as refusal:
        with context.reading() as db:
            return _page(context, db, event, values, refusal)
    context.once(op, "spares.trip", values, lambda db: actions.set_trip(db, new, context.me, context.now))
    with context.reading() as db:
        found = event_for(db, event, context.today)
    return RedirectResponse(f"/spares?event={found.id}" if found else "/spares", 303)


def _typed(posted: FormData) -> Trip:
    read: dict[str, Callable[[str], int]] = {
        "days": lambda text: parse_count(text, "days", 1, DAYS_MOST),
        "percent": lambda text: parse_count(text, "percent", 50, 99),
        "budget": lambda text: parse_money(text, "budget"),
    }
    values: dict[str, int] = {}
    errors: dict[str, str] = {}
    for name, parse in read.items():
        try:
            values[name] = parse(str(posted.get(name) or ""))
        except Invalid as refusal:
            errors |= refusal.errors
    if errors:
        raise Invalid(" ".join(errors.values()), errors)
    return Trip(values["days"], values["percent"], values["budget"])


def _page(
    context: RequestContext,
    db: Session,
    event_id: str | None,
    values: dict[str, str] | None = None,
    refusal: Invalid | None = None,
) -> Response:
    event = event_for(db, event_id, context.today)
    if event is None:
        return context.page("retire/no_event.html")
    case = actions.case_for(db, event, context.today, context.zone)
    kept = {
        "days": str(case.trip.days),
        "percent": str(case.trip.percent),
        "budget": format_money(case.trip.budget_cents),
    }
    return context.page(
        "retire/spares.html",
        refusal.status if refusal else 200,
        event=event,
        case=case,
        values=values or kept,
        errors=refusal.errors if refusal else {},
        op=new_op(),
        days_most=DAYS_MOST,
        wirings={row.sort.wiring: wiring_name(db, row.sort.wiring) for row in case.rows},
    )
