"""It crackled here: nobody knows which, so all that hangs at a place is suspect."""

from uuid import UUID

from fastapi.responses import Response
from sqlalchemy.orm import Session

from service.crew.context import CrewContext, RequestContext, page_router
from service.gear.actions import place_with
from service.gear.queries import item_namer
from service.kit.text import as_id
from service.suspects import queries
from service.suspects.actions import report_place
from service.tags.queries import codes_of
from service.web.forms import Form, Posted, typed

router = page_router()


@router.get("/places/{place_id}/crackled")
def place_form(context: CrewContext, place_id: UUID, done: bool = False) -> Response:
    """What hangs at the place, all of it ticked: one tap if nobody knows better."""
    with context.reading() as db:
        return _form(context, db, place_id, Form(), done=done)


@router.post("/places/{place_id}/crackled")
def report_place_suspect(context: CrewContext, place_id: UUID, posted: Posted) -> Response:
    """Call what is ticked suspect."""
    form = typed(posted)
    ticked = sorted(key for item in posted.getlist("item") if (key := as_id(item)))

    def report() -> str:
        op, content = form.id, [str(place_id), [str(item) for item in ticked]]
        context.once(op, "place.crackled", content, lambda db: report_place(db, place_id, ticked, op, context.actor))
        return f"/places/{place_id}/crackled?done=1"

    return context.submit(form, report, lambda db, form: _form(context, db, place_id, form))


def _form(context: RequestContext, db: Session, place_id: UUID, form: Form, done: bool = False) -> Response:
    here = queries.in_use_at(db, place_id)
    return context.page(
        "suspects/crackled.html",
        form=form,
        place=place_with(db, place_id),
        here=here,
        done=done,
        codes=codes_of(db, [item.id for item, _ in here]),
        title=item_namer(context.program),
    )
