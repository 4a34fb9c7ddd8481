"""Pages of tags: what waits to be printed, the sheet as PDF, a new code for an item, a tag that is worn."""

from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew.desk import CrewDesk, Desk, LeadDesk
from service.gear.core import item_name
from service.kit.lengths import Unit
from service.kit.problems import Invalid, invalid
from service.tags import actions, queries
from service.tags.core import SHEETS
from service.web.forms import Posted
from service.web.ops import new_op, read_op

router = APIRouter(include_in_schema=False)

AT_ONCE = 200
"""Tags of items on one page of the list and in one PDF of it: beyond, the printer is the slow part."""


@router.get("/tags")
def waiting_tags(desk: LeadDesk, printed: int | None = None, added: int | None = None) -> Response:
    """The tags that wait to be printed."""
    with desk.reading() as db:
        return _waiting(desk, db, printed=printed, added=added)


@router.get("/tags/sheet.pdf")
def sheet(desk: LeadDesk, code: Annotated[tuple[str, ...], Query()] = (), sheet: str = "letter") -> Response:
    """The tags of these codes on sheets to print, as PDF."""
    with desk.reading() as db:
        if not 1 <= len(code) <= AT_ONCE:
            raise invalid("code", f"Tick 1 to {AT_ONCE} tags to print; {len(code)} are ticked.")
        pdf = actions.tag_sheet(db, code, desk.settings.base_url, sheet)
    headers = {"Content-Disposition": 'attachment; filename="coilbook-tags.pdf"', "Cache-Control": "no-store"}
    return Response(pdf, 200, headers, "application/pdf")


@router.post("/tags/printed")
def printed_tags(desk: LeadDesk, posted: Posted) -> Response:
    """Take off the list what is on paper."""
    codes = [str(code) for code in posted.getlist("code")]
    try:
        ended = desk.once(
            read_op(posted.get("op")), "tags.printed", codes,
            lambda db: actions.mark_printed(db, codes, desk.now),
        )  # fmt: skip
    except Invalid as refusal:
        with desk.reading() as db:
            return _waiting(desk, db, refusal.status, refusal.errors)
    return RedirectResponse(f"/tags?printed={ended}", 303)


@router.get("/t/{code}/retag")
def retag_page(desk: LeadDesk, code: str) -> Response:
    """What a new tag means, before it is done."""
    with desk.reading() as db:
        item = actions.item_with(db, code)
        name = item_name(item.kind, item.length_mm, Unit(desk.program.unit))
        return desk.page(
            "tags/retag.html", item=item, name=name, code=queries.code_of(db, item.id), op=new_op()
        )


@router.post("/t/{code}/retag")
def retag(desk: LeadDesk, code: str, posted: Posted) -> Response:
    """End this code and give the item a new one."""
    new = desk.once(
        read_op(posted.get("op")), "tag.replace", code, lambda db: actions.retag(db, code, desk.me, desk.now)
    )
    return RedirectResponse(f"/gear/{new}?said=retagged", 303)


@router.post("/t/{code}/worn")
def worn(desk: CrewDesk, code: str, posted: Posted) -> Response:
    """Let a worn tag be printed again; the code stays."""
    kept = desk.once(
        read_op(posted.get("op")), "tag.worn", code,
        lambda db: actions.ask_print(db, code, "worn", desk.me, desk.now),
    )  # fmt: skip
    return RedirectResponse(f"/t/{kept}?worn=1", 303)


def _waiting(
    desk: Desk,
    db: Session,
    status: int = 200,
    errors: dict[str, str] | None = None,
    printed: int | None = None,
    added: int | None = None,
) -> Response:
    unit = Unit(desk.program.unit)
    rows = [
        {"tag": tag, "name": item_name(kind, length_mm, unit)}
        for tag, kind, length_mm in queries.waiting(db, AT_ONCE)
    ]
    return desk.page(
        "tags/waiting.html", status, rows=rows, total=queries.how_many_wait(db),
        sheets=[(key, each.name) for key, each in SHEETS.items()], errors=errors or {},
        printed=printed, added=added, base_url=desk.settings.base_url, op=new_op(),
    )  # fmt: skip
