"""Pages of the season: its rounds and events as one run, making and changing it, and who answers to it."""

from uuid import UUID

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import LeadContext, RequestContext, ViewerContext
from service.home.seasons import actions, queries
from service.home.seasons.line import draw
from service.kit.lengths import Unit
from service.kit.problems import Invalid
from service.season import queries as season
from service.season.forms import (
    blank_season,
    read_event,
    read_season,
    shown_season,
    typed_season,
)
from service.season.models import SeasonRow
from service.season.queries import get_event, get_season
from service.testlog.rounds import progress
from service.web.forms import Posted, new_op, read_op

router = APIRouter(include_in_schema=False)


@router.get("/season")
def season_now(context: ViewerContext) -> Response:
    """The season that counts today, and the way to the others."""
    with context.reading() as db:
        rows = season.seasons(db)
        row = season.current(rows, context.today)
        if row is None:
            return context.page("home/no_season.html")
        return _season(context, db, row)


@router.get("/season/new")
def new_season(context: LeadContext) -> Response:
    """Type a new season."""
    with context.reading():
        return context.page(
            "home/season_form.html", values=blank_season(context.today), errors={}, op=new_op(), row=None
        )


@router.post("/season/new")
def make_season(context: LeadContext, posted: Posted) -> Response:
    """Make a season."""
    values = typed_season(posted)
    try:
        entry = read_season(posted)
        op = read_op(posted.get("op"))
        everything = values["who"] != "none"
        made = context.once(op, "season.make", values, lambda db: actions.make(db, context, op, entry, everything))
    except Invalid as refusal:
        return _form_again(context, posted, refusal)
    return RedirectResponse(f"/season/{made}", 303)


@router.get("/season/events/{event_id}")
def event_page(context: LeadContext, event_id: str) -> Response:
    """Change an event."""
    with context.reading() as db:
        event = get_event(db, event_id)
        values = {"name": event.name, "kind": event.kind, "on": event.on}
        return context.page("home/event_form.html", values=values, errors={}, op=new_op(), event=event)


@router.post("/season/events/{event_id}")
def change_event(context: LeadContext, event_id: str, posted: Posted) -> Response:
    """Keep an event as it was typed."""
    try:
        entry = read_event(posted)
        content = [event_id, _typed_event(posted)]
        context.once(
            read_op(posted.get("op")),
            "event.change",
            content,
            lambda db: actions.change_event(db, context, event_id, entry),
        )
    except Invalid as refusal:
        with context.reading() as db:
            event = get_event(db, event_id)
            values = _typed_event(posted)
            return context.page(
                "home/event_form.html", 422, values=values, errors=refusal.errors, op=new_op(), event=event
            )
    return _to_event_season(context, event_id)


@router.post("/season/events/{event_id}/drop")
def drop_event(context: LeadContext, event_id: str, posted: Posted) -> Response:
    """Take an event off its season."""
    op = read_op(posted.get("op"))
    context.once(op, "event.drop", event_id, lambda db: actions.drop_event(db, context, event_id))
    return RedirectResponse("/season", 303)


@router.get("/season/{season_id}")
def season_page(context: ViewerContext, season_id: str) -> Response:
    """One season."""
    with context.reading() as db:
        return _season(context, db, get_season(db, season_id))


@router.get("/season/{season_id}/change")
def change_page(context: LeadContext, season_id: str) -> Response:
    """Change a season's name, days and rounds."""
    with context.reading() as db:
        row = get_season(db, season_id)
        values = shown_season(row.name, season.rules(db, [row.id])[row.id])
        return context.page("home/season_form.html", values=values, errors={}, op=new_op(), row=row)


@router.post("/season/{season_id}/change")
def change_season(context: LeadContext, season_id: str, posted: Posted) -> Response:
    """Keep a season as it was typed."""
    try:
        entry = read_season(posted)
        context.once(
            read_op(posted.get("op")),
            "season.change",
            [season_id, typed_season(posted)],
            lambda db: actions.change(db, context, season_id, entry),
        )
    except Invalid as refusal:
        return _form_again(context, posted, refusal, season_id)
    return RedirectResponse(f"/season/{season_id}", 303)


@router.post("/season/{season_id}/events")
def add_event(context: LeadContext, season_id: str, posted: Posted) -> Response:
    """Add an event to a season."""
    values = _typed_event(posted)
    try:
        entry = read_event(posted)
        context.once(
            read_op(posted.get("op")),
            "event.make",
            [season_id, values],
            lambda db: actions.add_event(db, context, season_id, entry),
        )
    except Invalid as refusal:
        with context.reading() as db:
            return _season(context, db, get_season(db, season_id), 422, values=values, errors=refusal.errors)
    return RedirectResponse(f"/season/{season_id}", 303)


@router.get("/season/{season_id}/items")
def items_page(context: LeadContext, season_id: str) -> Response:
    """Choose which items answer to a season, place by place."""
    with context.reading() as db:
        row = get_season(db, season_id)
        places = queries.choices(db, row.id, Unit(context.program.unit))
        saved = context.request.query_params.get("saved") == "1"
        return context.page("home/season_items.html", row=row, places=places, op=new_op, saved=saved)


@router.post("/season/{season_id}/items")
def choose_items(context: LeadContext, season_id: str, posted: Posted) -> Response:
    """Keep the choice of one place."""
    shown = [read_op(item) for item in str(posted.get("shown") or "").split()]
    chosen = [item for item in _ids(posted, "chosen") if item in shown]
    content = [season_id, sorted(map(str, shown)), sorted(map(str, chosen))]
    context.once(
        read_op(posted.get("op")),
        "season.items",
        content,
        lambda db: actions.choose(db, context, season_id, shown, chosen),
    )
    return RedirectResponse(f"/season/{season_id}/items?saved=1", 303)


def _season(
    context: RequestContext,
    db: Session,
    row: SeasonRow,
    status: int = 200,
    values: dict[str, str] | None = None,
    errors: dict[str, str] | None = None,
) -> Response:
    rounds = progress(db, row.id, context.zone)
    return context.page(
        "home/season.html",
        status,
        row=row,
        rounds=rounds,
        op=new_op(),
        errors=errors or {},
        steps=queries.steps(row, rounds, season.events(db, row.id), context.today),
        values=values or {"name": "", "kind": "competition", "on": ""},
        line=draw(row, rounds, season.events(db, row.id), queries.sessions_in(db, row), context.today),
        others=[other for other in season.seasons(db) if other.id != row.id],
        enlisted=len(season.enlisted(db, row.id)),
    )


def _form_again(context: RequestContext, posted: FormData, refusal: Invalid, season_id: str | None = None) -> Response:
    with context.reading() as db:
        row = get_season(db, season_id) if season_id else None
        return context.page(
            "home/season_form.html",
            422,
            values=typed_season(posted),
            errors=refusal.errors,
            op=new_op(),
            row=row,
        )


def _to_event_season(context: RequestContext, event_id: str) -> Response:
    with context.reading() as db:
        return RedirectResponse(f"/season/{get_event(db, event_id).season_id}", 303)


def _typed_event(posted: FormData) -> dict[str, str]:
    return {name: str(posted.get(name) or "") for name in ("name", "kind", "on")}


def _ids(posted: FormData, field: str) -> list[UUID]:
    return [read_op(value) for value in posted.getlist(field)]
