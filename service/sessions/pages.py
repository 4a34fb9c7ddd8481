"""Pages of sessions: the list, opening one, its worklist and progress, changing it, closing it."""

from collections.abc import Mapping
from dataclasses import replace
from uuid import UUID

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import LeadContext, RequestContext, ViewerContext, page_router
from service.crew.core import Role
from service.gear.queries import item_facts, item_namer, places
from service.gear.wirings import find_wiring
from service.kit.dates import format_date, parse_date
from service.kit.problems import Conflict
from service.kit.text import as_id
from service.sessions import actions, queries, worklist
from service.sessions.actions import USUAL, NewSession, SessionChange, Why, get_session
from service.sessions.code_input import read_codes
from service.sessions.core import in_words
from service.sessions.progress import progress, summary
from service.sessions.queries import place_name
from service.tags.queries import codes_of
from service.testers.tables import Tables
from service.testlog import form_reader
from service.testlog.housekeeping import ensure_today
from service.testlog.models import SessionKind
from service.web.forms import Form, Posted, typed

router = page_router()

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
        return _new(context, db, Form(values=dict.fromkeys(_FIELDS, "") | given), USUAL)


@router.post("/sessions")
def open_session(context: LeadContext, posted: Posted) -> Response:
    """Open the session and go to its worklist."""
    form = typed(posted, *_FIELDS)
    why = tuple(each for each in Why if each in posted.getlist("why"))

    def open_it() -> str:
        new = _new_session(form.id, form.values, why, posted)
        context.once(
            new.id,
            "session.open",
            [form.values, why],
            lambda db: str(actions.open_session(db, new, context.me, context.now).id),
        )
        with context.reading() as db:
            tables: Tables = context.request.app.state.tables
            tables.make_ahead((key, find_wiring(db, key)) for key in queries.wirings_on(db, new.id))
        return f"/sessions/{new.id}"

    return context.submit(form, open_it, lambda db, form: _new(context, db, form, why))


def _new_session(op: UUID, values: Mapping[str, str], why: tuple[Why, ...], posted: FormData) -> NewSession:
    on = parse_date(values["on"], "on")
    kind = SessionKind.COUNT if values["kind"] == SessionKind.COUNT else SessionKind.TEST
    usual = f"{'Count' if kind is SessionKind.COUNT else 'Tests'} on {format_date(on, on)}"
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


def _new(context: RequestContext, db: Session, form: Form, why: tuple[Why, ...]) -> Response:
    candidates = worklist.candidates(db)
    counts = {each: sum(actions.why_listed(one, [each], None) is each for one in candidates) for each in Why}
    return context.page(
        "sessions/new_session.html", form=form, why=why, whys=list(Why), counts=counts, places=places(db)
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
        return _change(context, db, session_id, Form(values=values))


@router.post("/sessions/{session_id}/change")
def change_session(context: LeadContext, session_id: str, posted: Posted) -> Response:
    """Keep the change."""
    sent = typed(posted, "title", "on", "note", "codes")
    drop = sorted(str(item_id) for item_id in posted.getlist("drop"))
    form = replace(sent, values={**sent.values, "drop": drop})
    with context.reading() as db:
        session = get_session(db, session_id)

    def change() -> str:
        change = SessionChange(
            form_reader.note(posted, "title")[:60] or session.title,
            parse_date(form.values["on"], "on"),
            form_reader.note(posted, "note"),
            read_codes(form.values["codes"]),
            {key for item_id in drop if (key := as_id(item_id))},
        )
        context.once(
            form.id,
            "session.change",
            [session_id, sent.values, drop],
            lambda db: actions.change_session(db, session.id, change, context.actor),
        )
        return f"/sessions/{session.id}"

    return context.submit(form, change, lambda db, form: _change(context, db, session_id, form), conflict="drop")


def _change(context: RequestContext, db: Session, session_id: str, form: Form) -> Response:
    session = get_session(db, session_id)
    if session.closed_at is not None:
        raise Conflict("This session was closed. Open a new one for what is left.")
    return context.page(
        "sessions/change_session.html",
        form=form,
        session=session,
        lines=queries.worklist(db, session.id),
        begun=worklist.has_begun(db, session.id),
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
        return _close(context, db, session_id, Form())


@router.post("/sessions/{session_id}/close")
def close_session(context: LeadContext, session_id: str, posted: Posted) -> Response:
    """Close the session; its page is then its summary."""
    form = typed(posted, "note")
    with context.reading() as db:
        key = get_session(db, session_id).id

    def close() -> str:
        note = form_reader.note(posted, "note")
        context.once(
            form.id,
            "session.close",
            [str(key), note],
            lambda db: actions.close_session(db, key, note, context.me, context.now),
        )
        return f"/sessions/{key}"

    return context.submit(form, close, lambda db, form: _close(context, db, session_id, form))


def _close(context: RequestContext, db: Session, session_id: str, form: Form) -> Response:
    session = get_session(db, session_id)
    return context.page(
        "sessions/close_session.html",
        form=form,
        session=session,
        stands=progress(db, session.id, context.now),
        title=item_namer(context.program),
    )
