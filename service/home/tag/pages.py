"""The tag page: the item of a scanned tag, its state, and what to do with it, depending on the role."""

from typing import Any
from uuid import UUID

from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew.context import AnyoneContext, CrewContext, RequestContext, page_router
from service.crew.core import Role
from service.gear.core import ItemState, item_name
from service.gear.queries import item_namer
from service.gear.wirings import find_wiring
from service.home.tag import queries
from service.home.tag.queries import Tagged
from service.kit.codes import read_code
from service.kit.quantities import Unit
from service.lines.inputs.through import channels_through
from service.tags.queries import item_with, refuse_ended, tag_on
from service.testlog.actions import call_suspect
from service.testlog.core import SCANNED, FaultStatus
from service.testlog.effects import fault_status_of
from service.testlog.housekeeping import ensure_today
from service.testlog.reach import lane_names
from service.testlog.rounds import lanes_now
from service.web.forms import Posted, read_op

router = page_router()

TESTS_SHOWN = 5


@router.get("/t/{code}")
@router.get("/T/{code}")
async def tag_page(context: AnyoneContext, code: str) -> Any:
    """Show the item of a tag. A stranger is only told where to bring it."""
    page = await context.at_once(lambda: _shown(context, code))
    if page is None:
        await run_in_threadpool(ensure_today, context)
        page = await context.at_once(lambda: _shown(context, code, brought_up=True))
    return page


def _shown(context: RequestContext, code: str, *, brought_up: bool = False) -> Response | None:
    """The page; None if the item's cached due state is out of date and was not refreshed (`brought_up`)."""
    with context.reading() as db:
        read = read_code(code)
        tagged = queries.tagged(db, read)
        if tagged is None:
            return _of_a_place(context, db, read)
        if tagged.until is not None:
            refuse_ended(tag_on(db, read))
        if context.who is None:
            return context.page("home/found.html", code=read)
        if tagged.is_stale(context.today) and not brought_up:
            return None
        return _page(context, db, read, tagged)


@router.post("/t/{code}/crackled")
def report_suspect(context: CrewContext, code: str, posted: Posted) -> Response:
    """Flag an item as suspect in one tap, because it crackled; a pass with both ends flexed clears it."""
    op = read_op(posted.get("op"))
    context.once(op, "item.crackled", code, lambda db: _report_suspect(db, context, code, op))
    return RedirectResponse(f"/t/{read_code(code)}?crackled=1", 303)


def _was_scanned(context: RequestContext) -> bool:
    """Whether the tag was scanned: read or typed here, or its address was opened from outside, as a camera app does."""
    headers = context.request.headers
    outside = headers.get("sec-fetch-site", "none") != "same-origin" and "referer" not in headers
    return bool(context.request.query_params.get(SCANNED)) or outside


def _of_a_place(context: RequestContext, db: Session, code: str) -> Response:
    tag = tag_on(db, code)  # refuses a code that is on nothing
    refuse_ended(tag)
    if context.who is None:
        return context.page("home/found.html", code=code)
    return RedirectResponse(f"/places/{tag.place_id}/walk", 303)


def _page(context: RequestContext, db: Session, code: str, tagged: Tagged) -> Response:
    item = tagged.item
    names = lane_names(find_wiring(db, item.wiring))
    query = context.request.query_params
    return context.page(
        "home/tag.html",
        code=code,
        item=item,
        due=tagged.due,
        name=item_name(item.kind, item.length_mm, Unit(context.program.unit)),
        flags=queries.flags(db, item.id),
        ends_of=queries.ends(db, item),
        tests=queries.last_tests(db, item.id, TESTS_SHOWN),
        channels=channels_through(db, item.id, context.today, context.now),
        title=item_namer(context.program),
        swapped=item.state is ItemState.QUARANTINED and fault_status_of(db, item.id) is FaultStatus.SWAPPED,
        lanes=lanes_now(db, item.id, item.in_service_on, names, context.today, context.zone) if len(names) > 1 else [],
        acts=context.me.role.reaches(Role.CREW),
        leads=context.me.role.reaches(Role.LEAD),
        scanned=_was_scanned(context),
        told=next((word for word in ("worn", "crackled", "other") if query.get(word)), ""),
    )


def _report_suspect(db: Session, context: RequestContext, code: str, op: UUID) -> None:
    call_suspect(db, item_with(db, code).id, op, "", context.me, context.now)
