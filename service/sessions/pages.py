"""Pages of sessions: the list, opening one, its worklist and progress, changing it, closing it."""

from uuid import UUID

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import LeadContext, RequestContext, ViewerContext
from service.crew.core import Role
from service.gear.queries import item_facts, item_namer, places
from service.gear.wirings import find_wiring
from service.kit.dates import parse_date, show_date
from service.kit.problems import Conflict, Invalid, Problem
from service.kit.typed import as_id
from service.sessions import actions, listing, queries
from service.sessions.actions import USUAL, NewSession, SessionChange, Why, get_session
from service.sessions.core import in_words
from service.sessions.progress import progress, summary
from service.sessions.queries import place_name
from service.sessions.typed import read_codes
from service.tags.queries import codes_of
from service.testers.tables import Tables
from service.testlog import form_reader
from service.testlog.housekeeping import ensure_today
from service.testlog.models import SessionKind
from service.web.forms import Posted, new_op, read_op

router = APIRouter(include_in_schema=False)

_FIELDS = ("title", "on", "place", "note", "kind", "codes")


@router.get("/sessions")
def sessions_page(context: ViewerContext) -> Response:
    """Open sessions first, then those that are over."""
    with context.reading() as db:
        return context.page(
            "sessions/sessions.html",
            rows=queries.sessions(db),
            leads=context.me.role.reaches(Role.LEAD),
            acts=context.me.role.reaches(Role.CREW),
        )


@router.get("/sessions/new")
def new_form(context: LeadContext, kind: str = SessionKind.TEST, codes: str = "", place: str = "") -> Response:
    """Open a session: when, where, and what goes on its worklist."""
    ensure_today(context)
    with context.reading() as db:
        given = {"on": context.today.isoformat(), "kind": kind, "codes": codes, "place": place}
        values = dict.fromkeys(_FIELDS, "") | given
        return _new(context, db, values, USUAL)


@router.post("/sessions")
def open_session(context: LeadContext, posted: Posted) -> Response:
    """Open it, and on to its worklist."""
    op = read_op(posted.get("op"))
    values = _texts(posted, *_FIELDS)
    why = tuple(each for each in Why if each in posted.getlist("why"))
    try:
        new = _new_session(op, values, why, posted, context)
        context.once(
            op,
            "session.open",
            [values, why],
            lambda db: str(actions.open_session(db, new, context.me, context.now).id),
        )
    except Invalid as refusal:
        with context.reading() as db:
            return _new(context, db, values, why, refusal.errors)
    with context.reading() as db:
        tables: Tables = context.request.app.state.tables
        tables.make_ahead((key, find_wiring(db, key)) for key in queries.wirings_on(db, op))
    return RedirectResponse(f"/sessions/{op}", 303)


def _new_session(
    op: UUID, values: dict[str, str], why: tuple[Why, ...], posted: FormData, context: RequestContext
) -> NewSession:
    on = parse_date(values["on"], "on")
    kind = SessionKind.COUNT if values["kind"] == SessionKind.COUNT else SessionKind.TEST
    usual = f"{'Count' if kind is SessionKind.COUNT else 'Tests'} on {show_date(on, on)}"
    return NewSession(
        op,
        form_reader.note(posted, "title")[:60] or usual,
        on,
        why,
        as_id(values["place"]),
        form_reader.note(posted, "note"),
        kind,
        read_codes(values["codes"]),
    )


def _new(
    context: RequestContext,
    db: Session,
    values: dict[str, str],
    why: tuple[Why, ...],
    errors: dict[str, str] | None = None,
) -> Response:
    found = listing.candidates(db)
    counts = {each: sum(actions.why_listed(one, [each], None) is each for one in found) for each in Why}
    return context.page(
        "sessions/new_session.html",
        422 if errors else 200,
        values=values,
        why=why,
        whys=list(Why),
        counts=counts,
        places=places(db),
        errors=errors or {},
        op=new_op(),
    )


@router.get("/sessions/{session_id}")
def session_page(context: ViewerContext, session_id: str) -> Response:
    """The worklist in walking order, what is done, who helps; once closed, the session's summary."""
    with context.reading() as db:
        session = get_session(db, session_id)
        if session.kind == SessionKind.COUNT:
            return RedirectResponse(f"/sessions/{session.id}/count", 303)
        stands = progress(db, session.id, context.now)
        comes_to = summary(db, session, stands) if session.closed_at else None
        shown = [
            *stands.extra,
            *stands.failed,
            *(item_id for item_id, _ in (comes_to.notes if comes_to else ())),
        ]
        return context.page(
            "sessions/closed_session.html" if comes_to else "sessions/session.html",
            session=session,
            stands=stands,
            comes_to=comes_to,
            items=item_facts(db, shown),
            codes=codes_of(db, shown),
            title=item_namer(context.program),
            acts=context.me.role.reaches(Role.CREW),
            leads=context.me.role.reaches(Role.LEAD),
            op=new_op(),
            now=context.now,
            place=place_name(db, session),
            late=session.on < context.today,
            in_words=in_words,
            closed_by=queries.name_of(db, session.closed_by),
            open=session.closed_at is None,
            lines=stands.lines,
            none_left=context.request.query_params.get("none") == "1",
        )


@router.get("/sessions/{session_id}/change")
def change_form(context: LeadContext, session_id: str) -> Response:
    """Change a planned session: its name and day, what comes on its list and what goes off it."""
    with context.reading() as db:
        session = get_session(db, session_id)
        values = {"title": session.title, "on": session.on.isoformat(), "note": session.note, "codes": ""}
        return _change(context, db, session_id, values)


@router.post("/sessions/{session_id}/change")
def change_session(context: LeadContext, session_id: str, posted: Posted) -> Response:
    """Keep the change."""
    op = read_op(posted.get("op"))
    values = _texts(posted, "title", "on", "note", "codes")
    drop = sorted(str(item_id) for item_id in posted.getlist("drop"))
    with context.reading() as db:
        session = get_session(db, session_id)
    try:
        change = SessionChange(
            form_reader.note(posted, "title")[:60] or session.title,
            parse_date(values["on"], "on"),
            form_reader.note(posted, "note"),
            read_codes(values["codes"]),
            {key for item_id in drop if (key := as_id(item_id))},
        )
        context.once(
            op,
            "session.change",
            [session_id, values, drop],
            lambda db: actions.change_session(db, session.id, change, context.me, context.now),
        )
    except (Invalid, Conflict) as refusal:
        with context.reading() as db:
            return _change(context, db, session_id, values, refusal)
    return RedirectResponse(f"/sessions/{session.id}", 303)


def _change(
    context: RequestContext, db: Session, session_id: str, values: dict[str, str], refusal: Problem | None = None
) -> Response:
    session = get_session(db, session_id)
    if session.closed_at is not None:
        raise Conflict("This session was closed. Open a new one for what is left.")
    errors = (refusal.errors or {"drop": refusal.detail}) if refusal else {}
    return context.page(
        "sessions/change_session.html",
        refusal.status if refusal else 200,
        session=session,
        values=values,
        lines=queries.worklist(db, session.id),
        begun=listing.has_begun(db, session.id),
        errors=errors,
        op=new_op(),
        title=item_namer(context.program),
    )


@router.get("/sessions/{session_id}/close")
def close_form(context: LeadContext, session_id: str) -> Response:
    """What is left out, and a word for whoever reads this next year, before it is closed."""
    with context.reading() as db:
        session = get_session(db, session_id)
        if session.closed_at is not None:
            return RedirectResponse(f"/sessions/{session.id}", 303)
        if session.kind == SessionKind.COUNT:
            return RedirectResponse(f"/sessions/{session.id}/count/close", 303)
        return _close(context, db, session_id, "")


@router.post("/sessions/{session_id}/close")
def close_session(context: LeadContext, session_id: str, posted: Posted) -> Response:
    """Close it; its page is its summary from now on."""
    op = read_op(posted.get("op"))
    with context.reading() as db:
        key = get_session(db, session_id).id
    try:
        note = form_reader.note(posted, "note")
        context.once(
            op,
            "session.close",
            [str(key), note],
            lambda db: actions.close_session(db, key, note, context.me, context.now),
        )
    except Invalid as refusal:
        with context.reading() as db:
            return _close(context, db, session_id, str(posted.get("note") or ""), refusal.errors)
    return RedirectResponse(f"/sessions/{key}", 303)


def _close(
    context: RequestContext, db: Session, session_id: str, note: str, errors: dict[str, str] | None = None
) -> Response:
    session = get_session(db, session_id)
    return context.page(
        "sessions/close_session.html",
        422 if errors else 200,
        session=session,
        note=note,
        errors=errors or {},
        stands=progress(db, session.id, context.now),
        op=new_op(),
        title=item_namer(context.program),
    )


def _texts(posted: FormData, *names: str) -> dict[str, str]:
    return {name: str(posted.get(name) or "").strip() for name in names}
