"""Pages of sessions: the list, opening one, its worklist and progress, closing it."""

from uuid import UUID

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.core import Role
from service.crew.desk import Desk, LeadDesk, ViewerDesk
from service.gear.core import item_name
from service.gear.queries import item_facts, places
from service.kit.dates import parse_date, show_date
from service.kit.lengths import Unit
from service.kit.problems import Invalid, NotFound
from service.tags.queries import codes_of
from service.testlog import entering
from service.testlog.core import Verdict
from service.testlog.housekeeping import ensure_today
from service.testlog.models import WorkSession
from service.testlog.sessions import actions, queries
from service.testlog.sessions.actions import USUAL, NewSession, Why
from service.web.forms import Posted
from service.web.ops import new_op, read_op

router = APIRouter(include_in_schema=False)


@router.get("/sessions")
def sessions_page(desk: ViewerDesk) -> Response:
    """Open sessions first, then those that are over."""
    with desk.reading() as db:
        return desk.page(
            "testlog/sessions.html", rows=queries.sessions(db), leads=desk.me.role.reaches(Role.LEAD)
        )


@router.get("/sessions/new")
def new_form(desk: LeadDesk) -> Response:
    """Open a session: when, where, and what goes on its worklist."""
    ensure_today(desk)
    with desk.reading() as db:
        values = {"title": "", "on": desk.today.isoformat(), "place": "", "note": ""}
        return _new(desk, db, values, USUAL)


@router.post("/sessions")
def open_session(desk: LeadDesk, posted: Posted) -> Response:
    """Open it, and on to its worklist."""
    op = read_op(posted.get("op"))
    values = {name: str(posted.get(name) or "").strip() for name in ("title", "on", "place", "note")}
    why = tuple(each for each in Why if each in posted.getlist("why"))
    try:
        new = _new_session(op, values, why, posted, desk)
        desk.once(
            op, "session.open", [values, why],
            lambda db: str(actions.open_session(db, new, desk.me, desk.now).id),
        )  # fmt: skip
    except Invalid as refusal:
        with desk.reading() as db:
            return _new(desk, db, values, why, refusal.errors)
    return RedirectResponse(f"/sessions/{op}", 303)


def _new_session(
    op: UUID, values: dict[str, str], why: tuple[Why, ...], posted: FormData, desk: Desk
) -> NewSession:
    on = parse_date(values["on"], "on")
    title = entering.note(posted, "title")[:60] or f"Tests on {show_date(on, on)}"
    return NewSession(op, title, on, why, entering.as_id(values["place"]), entering.note(posted, "note"))


def _new(
    desk: Desk,
    db: Session,
    values: dict[str, str],
    why: tuple[Why, ...],
    errors: dict[str, str] | None = None,
) -> Response:
    found = queries.candidates(db)
    counts = {each: sum(actions.why_listed(one, [each], None) is each for one in found) for each in Why}
    return desk.page(
        "testlog/new_session.html", 422 if errors else 200, values=values, why=why, whys=list(Why), counts=counts,
        places=places(db), errors=errors or {}, op=new_op(),
    )  # fmt: skip


@router.get("/sessions/{session_id}")
def session_page(desk: ViewerDesk, session_id: str) -> Response:
    """The worklist in walking order, what is done, who helped."""
    with desk.reading() as db:
        session = _session(db, session_id)
        lines, tested = queries.worklist(db, session.id), queries.tested(db, session.id)
        listed = {line.item.id for line in lines}
        extra = [item_id for item_id in tested if item_id not in listed]
        failed = [item_id for item_id, done in tested.items() if done.verdict is Verdict.FAIL]
        items, codes = item_facts(db, extra + failed), codes_of(db, extra + failed)
        return desk.page(
            "testlog/session.html", session=session, lines=lines, tested=tested, extra=extra, failed=failed,
            items=items, codes=codes, helpers=queries.helpers(db, session.id), next_line=actions.next_line(lines),
            done=sum(line.done is not None for line in lines), name=item_name, unit=Unit(desk.program.unit),
            acts=desk.me.role.reaches(Role.CREW), leads=desk.me.role.reaches(Role.LEAD), op=new_op(),
            place=_place_name(db, session), late=session.on < desk.today,
        )  # fmt: skip


@router.post("/sessions/{session_id}/close")
def close_session(desk: LeadDesk, session_id: str, posted: Posted) -> Response:
    """Close it; its page is its summary from now on."""
    op = read_op(posted.get("op"))
    with desk.reading() as db:
        key = _session(db, session_id).id
    desk.once(op, "session.close", str(key), lambda db: actions.close_session(db, key, desk.now))
    return RedirectResponse(f"/sessions/{key}", 303)


def _session(db: Session, session_id: str) -> WorkSession:
    key = entering.as_id(session_id)
    found = queries.session(db, key) if key else None
    if found is None:
        raise NotFound("There is no such session. Look for it among the sessions.")
    return found


def _place_name(db: Session, session: WorkSession) -> str:
    return next((place.name for place in places(db) if place.id == session.place_id), "")
