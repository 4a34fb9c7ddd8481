"""The pages of wear: how each class lasts and how often it needs testing; the risk of an event."""

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew.context import LeadContext, RequestContext, ViewerContext, page_router
from service.gear.queries import item_namer
from service.kit.problems import invalid
from service.kit.text import plain
from service.season import queries as season
from service.season.queries import get_event
from service.wear import actions, queries, report
from service.wear.core.classes import ENOUGH
from service.wear.event_risk import prospects
from service.web.forms import Form, Posted, text

router = page_router()


@router.get("/wear")
def wear_page(context: ViewerContext) -> Response:
    """Is twice enough?"""
    with context.reading() as db:
        return _page(context, db, Form())


@router.post("/wear")
def set_target(context: LeadContext, posted: Posted) -> Response:
    """Set the program's target for unavailability."""
    form = Form(values={"per_mille": plain(text(posted, "per_mille"))}, op=text(posted, "op"))

    def keep() -> str:
        typed = form.values["per_mille"]
        if not (typed.isascii() and typed.isdigit() and len(typed) < 5 and 1 <= int(typed) <= 500):
            raise invalid("per_mille", f"“{typed[:20]}” will not do; write a number from 1 to 500.")
        context.once(form.id, "wear.target", typed, lambda db: actions.set_target(db, int(typed), context.actor))
        return "/wear"

    return context.submit(form, keep, lambda db, form: _page(context, db, form))


def _page(context: RequestContext, db: Session, form: Form) -> Response:
    target = queries.target(db)
    row = season.current(season.seasons(db), context.today)
    if row is None:
        return context.page("home/no_season.html")
    rounds = len(season.rounds(db, row.id))
    return context.page(
        "wear/wear.html",
        form=form.starting_with({"per_mille": target}),
        row=row,
        rounds=rounds,
        target=target,
        least=ENOUGH,
        report=report.report(db, context.zone, row, context.today, target),
        name=item_namer(context.program),
        season_days=(row.ends - row.starts).days + 1,
    )


@router.get("/risk")
def next_risk(context: ViewerContext) -> Response:
    """Redirect to the risk of the next event."""
    with context.reading() as db:
        event = next(iter(season.next_events(db, context.today, 1)), None)
        if event is None:
            return context.page("wear/no_event.html")
    return RedirectResponse(f"/risk/{event.id}", 303)


@router.get("/risk/{event_id}")
def risk_page(context: ViewerContext, event_id: str) -> Response:
    """The chance that everything in use works at an event."""
    with context.reading() as db:
        event = get_event(db, event_id)
        shown = prospects(db, context.zone, context.today, event.on) if event.on >= context.today else None
        return context.page("wear/risk.html", event=event, prospects=shown, name=item_namer(context.program))
