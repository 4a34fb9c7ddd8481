"""The page of spares: what to carry on a trip, what is in the case, and what to add within the budget."""

from collections.abc import Callable, Mapping

from fastapi.responses import Response
from sqlalchemy.orm import Session

from service.crew.context import LeadContext, RequestContext, ViewerContext, page_router
from service.gear.wirings import wiring_name
from service.kit.problems import Invalid
from service.kit.quantities import format_money, parse_money
from service.kit.text import parse_count
from service.retire.lists.actions import event_for
from service.retire.spares import actions
from service.retire.spares.core.coverage import Trip
from service.testlog.housekeeping import ensure_today
from service.web.forms import Form, Posted, text, typed

router = page_router()

DAYS_MOST = 30
FIELDS = ("days", "percent", "budget")


@router.get("/spares")
def spares_page(context: ViewerContext, event: str | None = None) -> Response:
    """The spares for the trip to an event; to the next one if none is named."""
    ensure_today(context)
    with context.reading() as db:
        return _page(context, db, event or None, Form())


@router.post("/spares")
def set_trip(context: LeadContext, posted: Posted) -> Response:
    """Set the length of trips, the wanted chance and the budget."""
    form, event = typed(posted, *FIELDS), text(posted, "event") or None

    def keep() -> str:
        new = _read(form.values)
        context.once(form.id, "spares.trip", form.values, lambda db: actions.set_trip(db, new, context.actor))
        with context.reading() as db:
            shown = event_for(db, event, context.today)
        return f"/spares?event={shown.id}" if shown else "/spares"

    return context.submit(form, keep, lambda db, form: _page(context, db, event, form))


def _read(texts: Mapping[str, str]) -> Trip:
    read: dict[str, Callable[[str], int]] = {
        "days": lambda typed: parse_count(typed, "days", 1, DAYS_MOST),
        "percent": lambda typed: parse_count(typed, "percent", 50, 99),
        "budget": lambda typed: parse_money(typed, "budget"),
    }
    values: dict[str, int] = {}
    errors: dict[str, str] = {}
    for name, parse in read.items():
        try:
            values[name] = parse(texts[name])
        except Invalid as refusal:
            errors |= refusal.errors
    if errors:
        raise Invalid(" ".join(errors.values()), errors)
    return Trip(values["days"], values["percent"], values["budget"])


def _page(context: RequestContext, db: Session, event_id: str | None, form: Form) -> Response:
    event = event_for(db, event_id, context.today)
    if event is None:
        return context.page("retire/no_event.html")
    case = actions.case_for(db, event, context.today, context.zone)
    as_set = {
        "days": str(case.trip.days),
        "percent": str(case.trip.percent),
        "budget": format_money(case.trip.budget_cents),
    }
    return context.page(
        "retire/spares.html",
        form=form.starting_with(as_set),
        event=event,
        case=case,
        days_most=DAYS_MOST,
        wirings={sort.wiring: wiring_name(db, sort.wiring) for sort in (row.sort for row in case.rows)},
    )
