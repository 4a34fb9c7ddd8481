"""Items over the API: adding, listing, looking up."""

from typing import Annotated, Any

from fastapi import Path
from fastapi.responses import JSONResponse, Response

from service.crew.context import LeadContext, ViewerContext, api_router
from service.gear.forms import NewItemsBody
from service.home.items import actions
from service.home.items.answers import as_json, items_json
from service.home.items.forms import ItemFilters
from service.home.items.queries import page_of_items
from service.kit.quantities import Unit
from service.store.paging import page_size
from service.tags.queries import item_with
from service.web import schema
from service.web.schema import Cursor, Limit

router = api_router("/items")


@router.post("", status_code=201)
def add_items(context: LeadContext, body: NewItemsBody) -> Response:
    """Add one item, or many equal ones; the answer has the code of each. A new place without a `place_kind` becomes an
    instrument frame, unless its name says otherwise (`gear.core.likely_kind`).
    """
    made = context.once(
        body.id,
        "items.add",
        body.content(),
        lambda db: actions.add(db, context.actor, body.id, body, Unit(context.program.unit)),
    )
    return JSONResponse(made, 201)


@router.get("")
def list_items(
    context: ViewerContext,
    filters: ItemFilters,
    after: Cursor = None,
    limit: Limit = None,
) -> dict[str, Any]:
    """Filtered items by kind, length and id, a page at a time."""
    size = page_size(limit)
    with context.reading() as db:
        rows, following = page_of_items(db, filters, after, size)
        return {"items": [as_json(row, Unit(context.program.unit)) for row in rows], "next": following}


@router.get("/{code}")
def show_item(context: ViewerContext, code: Annotated[str, Path(json_schema_extra=schema.CODE)]) -> dict[str, Any]:
    """One item."""
    with context.reading() as db:
        return items_json(db, [item_with(db, code).id], Unit(context.program.unit))[0]
