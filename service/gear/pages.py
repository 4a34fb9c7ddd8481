"""Pages of places: the list in walking order, adding, renaming, reordering."""

from uuid import UUID

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew.context import LeadContext, RequestContext, ViewerContext, page_router
from service.gear import actions, queries
from service.gear.core import PlaceKind
from service.gear.forms import PlaceDetails
from service.web.forms import Form, Posted, read_form, read_op, typed

router = page_router()

KINDS = [
    (PlaceKind.FRAME, "Instrument frame"),
    (PlaceKind.CASE, "Case"),
    (PlaceKind.SHELF, "Shelf"),
    (PlaceKind.OTHER, "Other"),
]


@router.get("/places")
def places(context: ViewerContext) -> Response:
    """Show all places in walking order, with the number of items at each."""
    with context.reading() as db:
        return _places(context, db, Form(values={"kind": PlaceKind.FRAME}))


@router.post("/places")
def add_place(context: LeadContext, posted: Posted) -> Response:
    """Add a place at the end of the walk."""
    form = typed(posted, "name", "kind")

    def add() -> str:
        op, place = form.id, read_form(PlaceDetails, posted)
        context.once(
            op,
            "place.add",
            place.model_dump(),
            lambda db: actions.add_place(db, op, place.name, place.kind, context.me, context.now).name,
        )
        return "/places"

    return context.submit(form, add, lambda db, form: _places(context, db, form))


@router.get("/places/{place_id}")
def place_page(context: LeadContext, place_id: UUID) -> Response:
    """Show the form for a place's name and kind."""
    with context.reading() as db:
        place = actions.place_with(db, place_id)
        return _place(context, place_id, Form(values={"name": place.name, "kind": place.kind}))


@router.post("/places/{place_id}")
def change_place(context: LeadContext, place_id: UUID, posted: Posted) -> Response:
    """Change a place's name or kind."""
    form = typed(posted, "name", "kind")

    def change() -> str:
        place = read_form(PlaceDetails, posted)
        context.once(
            form.id,
            "place.change",
            [place_id, place.model_dump()],
            lambda db: actions.change_place(db, place_id, place.name, place.kind, context.actor).name,
        )
        return "/places"

    return context.submit(form, change, lambda _, form: _place(context, place_id, form))


@router.post("/places/{place_id}/move")
def move_place(context: LeadContext, place_id: UUID, posted: Posted) -> Response:
    """Move a place one position earlier or later on the walk."""
    steps = -1 if posted.get("to") == "earlier" else 1
    context.once(
        read_op(posted.get("op")),
        "place.move",
        [place_id, steps],
        lambda db: actions.move_in_walk(db, place_id, steps, context.actor),
    )
    return RedirectResponse(f"/places#p-{place_id}", 303)


def _places(context: RequestContext, db: Session, form: Form) -> Response:
    return context.page(
        "gear/places.html", form=form, places=queries.places(db), counts=queries.counts_by_place(db), kinds=KINDS
    )


def _place(context: RequestContext, place_id: UUID, form: Form) -> Response:
    return context.page("gear/place.html", form=form, place_id=place_id, kinds=KINDS)
