"""Pages of a session at work: the next line, taking one, helpers joining, and how it stands, again and again."""

from uuid import UUID

from fastapi.responses import RedirectResponse, Response

from service.crew.actions import make_pass
from service.crew.context import CrewContext, LeadContext, ViewerContext, page_router
from service.crew.core import Role, spelled
from service.crew.pages import join_link
from service.gear.queries import item_facts, item_namer
from service.kit.problems import NotFound
from service.sessions import claims, queries
from service.sessions.actions import get_session
from service.sessions.core import live
from service.sessions.progress import progress
from service.tags.queries import code_of, item_with
from service.web.forms import Posted, read_op
from service.web.qr import qr_svg

router = page_router()


@router.post("/sessions/{session_id}/next")
def next_line(context: CrewContext, session_id: str, posted: Posted) -> Response:
    """Send a helper to their next line; to the session's page where nothing is left for them."""
    op, after = read_op(posted.get("op")), str(posted.get("after") or "")
    with context.reading() as db:
        key = get_session(db, session_id).id
        tested = item_with(db, after, ended=True).id if after else None
    item_id = context.once(
        op,
        "session.next",
        [str(key), after],
        lambda db: _as_text(claims.claim_next(db, key, context.actor, tested)),
    )
    if item_id is None:
        return RedirectResponse(f"/sessions/{key}?none=1", 303)
    with context.reading() as db:
        return RedirectResponse(f"/t/{code_of(db, UUID(item_id))}/test?session={key}", 303)


@router.get("/sessions/{session_id}/take/{code}")
def take_form(context: CrewContext, session_id: str, code: str) -> Response:
    """Who has a line, and a button to take it anyway."""
    with context.reading() as db:
        session = get_session(db, session_id)
        item = item_with(db, code)
        line = next((line for line in queries.worklist(db, session.id) if line.item.id == item.id), None)
        if line is None:
            raise NotFound("This item is not on the session's list. Test it from its own page.")
        return context.page(
            "sessions/take.html",
            session=session,
            item=item_facts(db, [item.id])[item.id],
            code=code_of(db, item.id),
            claim=live(line.claim, context.now),
            claimed_by=line.claimed_by,
            title=item_namer(context.program),
        )


@router.post("/sessions/{session_id}/take/{code}")
def take(context: CrewContext, session_id: str, code: str, posted: Posted) -> Response:
    """Keep this line for whoever asks, and on to its test."""
    op = read_op(posted.get("op"))
    with context.reading() as db:
        key, item_id = get_session(db, session_id).id, item_with(db, code).id
        now = code_of(db, item_id)
    context.once(op, "session.take", [str(key), now], lambda db: claims.take(db, key, item_id, context.actor))
    return RedirectResponse(f"/t/{now}/test?session={key}", 303)


@router.get("/sessions/{session_id}/progress")
def progress_part(context: ViewerContext, session_id: str) -> Response:
    """How it stands, as the part of its page that a script replaces."""
    with context.reading() as db:
        session = get_session(db, session_id)
        return context.page(
            "sessions/session_progress.html",
            stands=progress(db, session.id, context.now),
            open=session.closed_at is None,
            title=item_namer(context.program),
        )


@router.post("/sessions/{session_id}/pass")
def helpers_join(context: LeadContext, session_id: str) -> Response:
    """A crew pass for this session's helpers, as a QR code on the lead's screen; it is shown once."""
    with context.writing() as db:
        session = get_session(db, session_id)
        made = make_pass(db, Role.CREW, session.title[:60], context.me, context.now)
    link = join_link(context, made.secret, f"/sessions/{session.id}")
    secret = spelled(made.secret)
    return context.page(
        "sessions/session_pass.html", session=session, made=made, link=link, qr=qr_svg(link), secret=secret
    )


def _as_text(item_id: UUID | None) -> str | None:
    return str(item_id) if item_id else None
