"""The page of a place: everything that is kept there, each with its test; and removing a place."""

from urllib.parse import urlencode
from uuid import UUID

from fastapi.responses import RedirectResponse, Response

from service.counts.queries import open_count_at
from service.crew.context import LeadContext, ViewerContext, page_router
from service.crew.core import Role
from service.gear.actions import place_with
from service.gear.core import item_name
from service.home.items.queries import item_rows
from service.home.place import actions
from service.home.place.queries import codes_at, ids_at
from service.home.scan.core import read_errand
from service.kit.quantities import Unit
from service.season.core import DueState
from service.tags.queries import tag_of_place
from service.testlog.housekeeping import ensure_today
from service.web.forms import Posted, read_op

router = page_router()


@router.get("/places/{place_id}/walk")
def walk(context: ViewerContext, place_id: UUID, session: str = "") -> Response:
    """Show what is kept at a place; items that need a test come first."""
    ensure_today(context)
    in_session = read_errand({"session": session}).session
    carried = f"?{urlencode({'session': str(in_session)})}" if in_session else ""
    with context.reading() as db:
        place = place_with(db, place_id)
        ids = ids_at(db, place_id)
        rows = item_rows(db, ids)
        lines = [rows[item_id] for item_id in ids]
        unit = Unit(context.program.unit)
        return context.page(
            "home/place.html",
            place=place,
            carried=carried,
            acts=context.me.role.reaches(Role.CREW),
            lines=[(line, item_name(line.facts.kind, line.facts.length_mm, unit)) for line in lines],
            asking=[line for line in lines if line.due not in (None, DueState.CURRENT)],
            leads=context.me.role.reaches(Role.LEAD),
            count=open_count_at(db, place_id),
            gone=len(codes_at(db, place_id)) - len(ids),
        )


@router.get("/places/{place_id}/remove")
def removal_page(context: LeadContext, place_id: UUID) -> Response:
    """Ask before a place is removed, or say what still uses it."""
    with context.reading() as db:
        place = place_with(db, place_id)
        return context.page(
            "home/remove_place.html",
            place=place,
            told=actions.list_obstacles(db, place),
            tag=tag_of_place(db, place_id),
        )


@router.post("/places/{place_id}/remove")
def remove_place(context: LeadContext, place_id: UUID, posted: Posted) -> Response:
    """Remove the place."""
    context.once(
        read_op(posted.get("op")),
        "place.remove",
        str(place_id),
        lambda db: actions.end(db, place_id, context.actor),
    )
    return RedirectResponse("/places", 303)
