"""It crackled here: nobody knows which, so all that hangs at a place is suspect."""

from uuid import UUID

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew.context import CrewContext, RequestContext
from service.gear.actions import place_with
from service.gear.queries import item_namer
from service.kit.problems import Invalid
from service.kit.typed import as_id
from service.suspects import queries
from service.suspects.actions import report_place
from service.tags.queries import codes_of
from service.web.forms import Posted, new_op, read_op

router = APIRouter(include_in_schema=False)


@router.get("/places/{place_id}/crackled")
def place_form(context: CrewContext, place_id: UUID, done: bool = False) -> Response:
    """What hangs at the place, all of it ticked: one tap if nobody knows better."""
    with context.reading() as db:
        return _form(context, db, place_id, done=done)


@router.post("/places/{place_id}/crackled")
def report_place_suspect(context: CrewContext, place_id: UUID, posted: Posted) -> Response:
    """Call what is ticked suspect."""
    op = read_op(posted.get("op"))
    ticked = sorted(key for item in posted.getlist("item") if (key := as_id(item)))
    try:
        context.once(
            op,
            "place.crackled",
            [str(place_id), [str(item) for item in ticked]],
            lambda db: report_place(db, place_id, ticked, op, context.me, context.now),
        )
    except Invalid as refusal:
        with context.reading() as db:
            return _form(context, db, place_id, refusal.errors)
    return RedirectResponse(f"/places/{place_id}/crackled?done=1", 303)


def _form(
    context: RequestContext, db: Session, place_id: UUID, errors: dict[str, str] | None = None, done: bool = False
) -> Response:
    here = queries.in_use_at(db, place_id)
    return context.page(
        "suspects/crackled.html",
        422 if errors else 200,
        place=place_with(db, place_id),
        here=here,
        done=done,
        codes=codes_of(db, [item.id for item, _ in here]),
        title=item_namer(context.program),
        errors=errors or {},
        op=new_op(),
    )
