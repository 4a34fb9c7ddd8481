"""The calendar feed, and the page on which a lead makes and ends the links to it."""

import hashlib

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew.access import get_link
from service.crew.context import AnyoneContext, LeadContext, RequestContext, page_router
from service.kit.text import id_in_address
from service.schedule.calendar import actions, queries
from service.schedule.calendar.core import feed
from service.schedule.calendar.models import CalendarLink
from service.web.forms import Form, Posted, typed

router = page_router()

_NOT_VALID = "This calendar link is not valid, or no longer. Ask your lead for a new one."


@router.get("/calendar")
def calendar_page(context: LeadContext) -> Response:
    """The valid links, and the form for a new one."""
    with context.reading() as db:
        return _links(context, db, Form())


@router.post("/calendar/links")
def make_link(context: LeadContext, posted: Posted) -> Response:
    """Add a link and show it, once."""
    form = typed(posted, "label")

    def make() -> Response:
        with context.writing() as db:
            secret = actions.make_link(db, form.values["label"], context.actor)
        return context.page("schedule/calendar_link.html", link=f"{context.base}/calendar/{secret}.ics")

    return context.submit(form, make, lambda db, form: _links(context, db, form))


@router.post("/calendar/links/{link_id}/end")
def end_link(context: LeadContext, link_id: str) -> Response:
    """End a link."""
    with context.writing() as db:
        key = id_in_address(link_id, "There is no such calendar link. Look at the list of those that count.")
        actions.end_link(db, key, context.actor)
    return RedirectResponse("/calendar", 303)


@router.get("/calendar/{secret}.ics")
def calendar_feed(context: AnyoneContext, secret: str) -> Response:
    """The feed, for calendar programs; the link is enough to read it, without a sign-in."""
    with context.reading() as db:
        get_link(db, CalendarLink, secret, context.now, _NOT_VALID, lock=False)
        body = feed(context.program.name, queries.entries(db, context.base))
    etag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    # A weak one, since what goes out may be compressed (RFC 9110, 8.8.1).
    headers = {"ETag": f"W/{etag}", "Cache-Control": "private, no-cache"}
    known = context.request.headers.get("if-none-match", "").split(",")
    if etag in (tag.strip().removeprefix("W/") for tag in known):
        return Response(status_code=304, headers=headers)
    return Response(body, headers=headers, media_type="text/calendar; charset=utf-8")


def _links(context: RequestContext, db: Session, form: Form) -> Response:
    return context.page("schedule/calendar.html", form=form, links=queries.links(db))
