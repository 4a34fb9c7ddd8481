"""Pages of places: the walk from one to the next, adding, renaming, reordering."""

from typing import Any
from uuid import UUID

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import LeadContext, RequestContext, ViewerContext
from service.gear import actions, queries
from service.gear.core import PlaceKind
from service.gear.forms import PlaceDetails
from service.kit.problems import Invalid
from service.web.forms import Posted, new_op, read_form, read_op

router = APIRouter(include_in_schema=False)

KINDS = [
    (PlaceKind.FRAME, "Instrument frame"),
    (PlaceKind.CASE, "Case"),
    (PlaceKind.SHELF, "Shelf"),
    (PlaceKind.OTHER, "Other"),
]


@router.get("/places")
def places(context: ViewerContext) -> Response:
    """All places in walking order, with how many items live at each."""
    with context.reading() as db:
        return _places(context, db, {"kind": PlaceKind.FRAME})


@router.post("/places")
def add_place(context: LeadContext, posted: Posted) -> Response:
    """Add a place at the end of the walk."""
    try:
        op, place = read_op(posted.get("op")), read_form(PlaceDetails, posted)
        context.once(
            op,
            "place.add",
            place.model_dump(),
            lambda db: actions.add_place(db, op, place.name, place.kind, context.me, context.now).name,
        )
    except Invalid as refusal:
        with context.reading() as db:
            return _places(context, db, _typed(posted), refusal)
    return RedirectResponse("/places", 303)


@router.get("/places/{place_id}")
def place_page(context: LeadContext, place_id: UUID) -> Response:
    """Change a place's name or kind."""
    with context.reading() as db:
        place = actions.place_with(db, place_id)
        return _place(context, place_id, {"name": place.name, "kind": place.kind})


@router.post("/places/{place_id}")
def change_place(context: LeadContext, place_id: UUID, posted: Posted) -> Response:
    """Keep a place as it was typed."""
    try:
        op, place = read_op(posted.get("op")), read_form(PlaceDetails, posted)
        context.once(
            op,
            "place.change",
            [place_id, place.model_dump()],
            lambda db: actions.change_place(db, place_id, place.name, place.kind, context.me, context.now).name,
        )
    except Invalid as refusal:
        with context.reading():
            return _place(context, place_id, _typed(posted), refusal)
    return RedirectResponse("/places", 303)


@router.post("/places/{place_id}/move")
def move_place(context: LeadContext, place_id: UUID, posted: Posted) -> Response:
    """Let a place come one turn earlier or later in the walk."""
    steps = -1 if posted.get("to") == "earlier" else 1
    context.once(
        read_op(posted.get("op")),
        "place.move",
        [place_id, steps],
        lambda db: actions.move_in_walk(db, place_id, steps, context.me, context.now),
    )
    return RedirectResponse(f"/places#p-{place_id}", 303)


def _places(context: RequestContext, db: Session, values: dict[str, Any], refusal: Invalid | None = None) -> Response:
    return context.page(
        "gear/places.html",
        refusal.status if refusal else 200,
        places=queries.places(db),
        counts=queries.counts_by_place(db),
        values=values,
        errors=refusal.errors if refusal else {},
        kinds=KINDS,
        op=new_op,
    )


def _place(context: RequestContext, place_id: UUID, values: dict[str, Any], refusal: Invalid | None = None) -> Response:
    return context.page(
        "gear/place.html",
        refusal.status if refusal else 200,
        place_id=place_id,
        values=values,
        errors=refusal.errors if refusal else {},
        kinds=KINDS,
        op=new_op(),
    )


def _typed(posted: FormData) -> dict[str, Any]:
    return {"name": posted.get("name"), "kind": posted.get("kind")}
