"""Pages of the season: its rounds and events in order, making and changing it, and its items."""

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import LeadContext, RequestContext, ViewerContext, page_router
from service.gear.queries import item_namer
from service.home.seasons import actions, queries
from service.home.seasons.timeline import draw
from service.kit.quantities import Unit
from service.lines.inputs.queries import channels, input_list_for
from service.lines.inputs.shown import shown
from service.retire.readiness.actions import advised, ready_for, with_codes
from service.retire.readiness.core import ActOrder
from service.season import queries as season
from service.season.forms import (
    blank_season,
    read_event,
    read_season,
    shown_season,
    typed_season,
)
from service.season.models import Event, SeasonRow
from service.season.queries import get_event, get_season
from service.sessions.core import minutes_in_words
from service.testlog.housekeeping import ensure_today
from service.testlog.rounds import progress
from service.web.forms import Form, Posted, read_id, read_op, text, typed

router = page_router()

FIRST, SHOWN = 10, 200
"""How many acts are shown at once, and how many at most."""


@router.get("/season")
def season_now(context: ViewerContext) -> Response:
    """Show the present season, and links to the others."""
    with context.reading() as db:
        rows = season.seasons(db)
        row = season.current(rows, context.today)
        if row is None:
            return context.page("home/no_season.html")
        return _season(context, db, row, _blank_event())


@router.get("/season/new")
def new_season(context: LeadContext) -> Response:
    """Show the form for a new season."""
    with context.reading():
        return _form(context, Form(values=blank_season(context.today)), None)


@router.post("/season/new")
def make_season(context: LeadContext, posted: Posted) -> Response:
    """Add a season."""
    form = _typed_season(posted)

    def make() -> str:
        entry, everything = read_season(posted), form.values["who"] != "none"
        content, op = form.values, form.id
        made = context.once(
            op, "season.make", content, lambda db: actions.make(db, context.actor, op, entry, everything)
        )
        ensure_today(context)
        return f"/season/{made}"

    return context.submit(form, make, lambda _, form: _form(context, form, None))


@router.get("/season/events/{event_id}")
def event_page(context: ViewerContext, event_id: str, by: ActOrder = ActOrder.CHANCE) -> Response:
    """Show whether everything is ready for an event; for leads also the form for its name and day."""
    ensure_today(context)
    with context.reading() as db:
        event = get_event(db, event_id)
        form = Form(values={"name": event.name, "kind": event.kind, "on": event.on})
        return _event(context, db, event, form, by)


@router.post("/season/events/{event_id}")
def change_event(context: LeadContext, event_id: str, posted: Posted) -> Response:
    """Change an event."""
    form = typed(posted, "name", "kind", "on")

    def change() -> str:
        entry, content = read_event(posted), [event_id, form.values]
        context.once(
            form.id, "event.change", content, lambda db: actions.change_event(db, context.actor, event_id, entry)
        )
        with context.reading() as db:
            return f"/season/{get_event(db, event_id).season_id}"

    ensure_today(context)
    return context.submit(form, change, lambda db, form: _event(context, db, get_event(db, event_id), form))


@router.post("/season/events/{event_id}/drop")
def drop_event(context: LeadContext, event_id: str, posted: Posted) -> Response:
    """Remove an event from its season."""
    op = read_op(posted.get("op"))
    context.once(op, "event.drop", event_id, lambda db: actions.drop_event(db, context.actor, event_id))
    return RedirectResponse("/season", 303)


@router.get("/season/{season_id}")
def season_page(context: ViewerContext, season_id: str) -> Response:
    """Show one season."""
    with context.reading() as db:
        return _season(context, db, get_season(db, season_id), _blank_event())


@router.get("/season/{season_id}/change")
def change_page(context: LeadContext, season_id: str) -> Response:
    """Show the form for a season's name, days and rounds."""
    with context.reading() as db:
        row = get_season(db, season_id)
        values = shown_season(row.name, season.rules(db, [row.id])[row.id])
        return _form(context, Form(values=values), row)


@router.post("/season/{season_id}/change")
def change_season(context: LeadContext, season_id: str, posted: Posted) -> Response:
    """Change a season."""
    form = _typed_season(posted)

    def change() -> str:
        entry, content = read_season(posted), [season_id, form.values]
        context.once(form.id, "season.change", content, lambda db: actions.change(db, context.actor, season_id, entry))
        ensure_today(context)
        return f"/season/{season_id}"

    return context.submit(form, change, lambda db, form: _form(context, form, get_season(db, season_id)))


@router.post("/season/{season_id}/events")
def add_event(context: LeadContext, season_id: str, posted: Posted) -> Response:
    """Add an event to a season."""
    form = typed(posted, "name", "kind", "on")

    def add() -> str:
        entry, content = read_event(posted), [season_id, form.values]
        context.once(form.id, "event.make", content, lambda db: actions.add_event(db, context.actor, season_id, entry))
        return f"/season/{season_id}"

    return context.submit(form, add, lambda db, form: _season(context, db, get_season(db, season_id), form))


@router.get("/season/{season_id}/items")
def items_page(context: LeadContext, season_id: str) -> Response:
    """Show the forms for the items of a season, one for each place."""
    with context.reading() as db:
        row = get_season(db, season_id)
        places = queries.choices(db, row.id, Unit(context.program.unit))
        saved = context.request.query_params.get("saved") == "1"
        return context.page("home/season_items.html", row=row, places=places, saved=saved)


@router.post("/season/{season_id}/items")
def choose_items(context: LeadContext, season_id: str, posted: Posted) -> Response:
    """Save which items of one place belong to the season."""
    shown = [read_id(item, "shown") for item in str(posted.get("shown") or "").split()]
    chosen = [key for item in posted.getlist("chosen") if (key := read_id(item, "chosen")) in shown]
    content = [season_id, sorted(map(str, shown)), sorted(map(str, chosen))]
    context.once(
        read_op(posted.get("op")),
        "season.items",
        content,
        lambda db: actions.choose(db, context.actor, season_id, shown, chosen),
    )
    ensure_today(context)
    return RedirectResponse(f"/season/{season_id}/items?saved=1", 303)


def _event(context: RequestContext, db: Session, event: Event, form: Form, by: ActOrder = ActOrder.CHANCE) -> Response:
    ready = ready_for(db, event, context.today, context.zone, by) if event.on >= context.today else None
    declined = ready.declined if ready else {}
    stuck = [item_id for item_id in ready.now.stuck if item_id not in declined] if ready else []
    input_list = input_list_for(db, event)
    rows = shown(db, channels(db, input_list.id, context.now)) if input_list else []
    return context.page(
        "home/event.html",
        form=form,
        event=event,
        channels=rows,
        doubtful=[row for row in rows if not row.is_good],
        ready=ready,
        by=by,
        acts=advised(db, ready, ready.now.acts[:SHOWN]) if ready else [],
        left=advised(db, ready, ready.left.acts[:FIRST]) if ready and ready.evenings else [],
        first=FIRST,
        stuck=with_codes(db, stuck),
        declined=[(item, code, declined[item.id]) for item, code in with_codes(db, declined)],
        name=item_namer(context.program),
        time=minutes_in_words,
    )


def _season(context: RequestContext, db: Session, row: SeasonRow, form: Form) -> Response:
    rounds = progress(db, row.id, context.zone)
    return context.page(
        "home/season.html",
        form=form,
        row=row,
        rounds=rounds,
        steps=queries.steps(row, rounds, season.events(db, row.id), context.today),
        line=draw(row, rounds, season.events(db, row.id), queries.sessions_in(db, row), context.today),
        others=[other for other in season.seasons(db) if other.id != row.id],
        enlisted=len(season.enlisted(db, row.id)),
    )


def _form(context: RequestContext, form: Form, row: SeasonRow | None) -> Response:
    return context.page("home/season_form.html", form=form, row=row)


def _typed_season(posted: FormData) -> Form:
    return Form(values=typed_season(posted), op=text(posted, "op"))


def _blank_event() -> Form:
    return Form(values={"name": "", "kind": "competition", "on": ""})
