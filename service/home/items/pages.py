"""Pages of gear: the list, adding, an item's full record, and changing what is told of it."""

from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import CrewContext, LeadContext, RequestContext, ViewerContext
from service.gear import queries as gear
from service.gear.actions import ask_for_kinds
from service.gear.core import USUAL_KIND, item_name, kind_choices
from service.gear.forms import ItemDetails, NewItems, NoteText, Placing
from service.gear.pages import KINDS as PLACE_KINDS
from service.gear.wirings import find_wiring, wiring_choices
from service.home.items import actions
from service.home.items.core import read_filters
from service.home.items.queries import page_of_items
from service.home.items.record import record
from service.kit.lengths import Unit
from service.kit.problems import Invalid
from service.store.paging import PAGE
from service.tags.queries import code_of, item_with
from service.testlog.reach import lane_names
from service.testlog.rounds import lanes_now
from service.web.forms import Posted, new_op, read_form, read_op

router = APIRouter(include_in_schema=False)

LABELS = {
    "kind": "What is it",
    "length": "Length",
    "count": "How many",
    "place": "Place",
    "place_b": "Place of end B",
    "place_kind": "What the new place is",
    "place_b_kind": "What the new place of end B is",
    "strapped": "Strapped",
    "wiring": "Wiring",
    "gauge_awg": "Wire gauge",
    "label": "Label",
    "batch": "Batch",
    "bought_on": "Bought on",
    "price": "Price",
}
"""The fields of the forms here, by the words that stand above them."""
STRAPPED = [("", "Only at an instrument frame"), ("yes", "Yes"), ("no", "No")]
STRAPPED_WORDS = {None: "", True: "yes", False: "no"}


@router.get("/gear")
def gear_list(
    context: ViewerContext,
    q: str = "",
    state: str = "",
    flag: str = "",
    kind: str = "",
    place: str = "",
    due: str = "",
    after: str | None = None,
) -> Response:
    """All gear, narrowed down, a page at a time."""
    filters = read_filters(q, kind, state, flag, due, place)
    with context.reading() as db:
        rows, following = page_of_items(db, filters, after, PAGE)
        unit = Unit(context.program.unit)
        return context.page(
            "home/items/list.html",
            filters=filters,
            first=not after,
            kinds=kind_choices(),
            places=[(place.name, place.name) for place in gear.places(db)],
            rows=[(row, item_name(row.facts.kind, row.facts.length_mm, unit)) for row in rows],
            more=f"/gear?{urlencode(filters.active | {'after': following})}" if following else None,
        )


@router.get("/gear/new")
def new_items(context: LeadContext) -> Response:
    """Add one item, or many that are alike."""
    with context.reading() as db:
        return _new(context, db, {"kind": USUAL_KIND, "count": "1"})


@router.post("/gear/new")
def add_items(context: LeadContext, posted: Posted) -> Response:
    """Make the items, and go on to the one, or to the tags of the many."""
    try:
        new, op = read_form(NewItems, posted), read_op(posted.get("op"))
        with context.reading() as db:
            _ask_for_kinds(db, new)
        made = context.once(op, "items.add", new.content(), lambda db: actions.add(db, context, op, new))
    except Invalid as refusal:
        with context.reading() as db:
            return _new(context, db, _typed(posted), refusal)
    target = f"/gear/{made[0]['code']}?said=added" if len(made) == 1 else f"/tags?added={len(made)}"
    return RedirectResponse(target, 303)


@router.get("/gear/{code}")
def item_page(context: ViewerContext, code: str, said: str = "") -> Response:
    """The full record of an item."""
    with context.reading() as db:
        return _record(context, db, code, said=said)


@router.get("/gear/{code}/edit")
def edit_page(context: LeadContext, code: str) -> Response:
    """Change what is told of an item."""
    with context.reading() as db:
        item = item_with(db, code)
        price = "" if item.price_cents is None else f"{item.price_cents / 100:.2f}"
        values = {
            "label": item.label,
            "gauge_awg": item.gauge_awg,
            "batch": item.batch,
            "bought_on": item.bought_on,
            "price": price,
        }
        return _form(context, db, "home/items/edit.html", code, values)


@router.post("/gear/{code}/edit")
def edit(context: LeadContext, code: str, posted: Posted) -> Response:
    """Keep what is told of an item."""
    try:
        details, op = read_form(ItemDetails, posted), read_op(posted.get("op"))
        content = [code, details.model_dump(mode="json")]
        context.once(op, "item.edit", content, lambda db: actions.edit(db, context, code, details))
    except Invalid as refusal:
        with context.reading() as db:
            return _form(context, db, "home/items/edit.html", code, _typed(posted), refusal)
    return RedirectResponse(f"/gear/{code}?said=kept", 303)


@router.get("/gear/{code}/place")
def place_page(context: LeadContext, code: str) -> Response:
    """Say where an item lives."""
    with context.reading() as db:
        item = item_with(db, code)
        facts = gear.item_facts(db, [item.id])[item.id]
        return _form(
            context,
            db,
            "home/items/place.html",
            code,
            {
                "place": facts.place,
                "place_b": facts.place_b,
                "strapped": STRAPPED_WORDS.get(gear.said_strapped(db, item.id), ""),
            },
        )


@router.post("/gear/{code}/place")
def move(context: LeadContext, code: str, posted: Posted) -> Response:
    """Put an item where it lives from now on."""
    try:
        placing, op = read_form(Placing, posted), read_op(posted.get("op"))
        with context.reading() as db:
            _ask_for_kinds(db, placing)
        content = [code, placing.content()]
        context.once(op, "item.place", content, lambda db: actions.move(db, context, code, placing))
    except Invalid as refusal:
        with context.reading() as db:
            return _form(context, db, "home/items/place.html", code, _typed(posted), refusal)
    return RedirectResponse(f"/gear/{code}?said=moved", 303)


@router.post("/gear/{code}/notes")
def add_note(context: CrewContext, code: str, posted: Posted) -> Response:
    """Write something down about an item."""
    try:
        note, op = read_form(NoteText, posted), read_op(posted.get("op"))
        context.once(op, "item.note", [code, note.text], lambda db: actions.note(db, context, code, note.text))
    except Invalid as refusal:
        with context.reading() as db:
            return _record(context, db, code, refusal=refusal, text=str(posted.get("text") or ""))
    return RedirectResponse(f"/gear/{code}?said=noted#notes", 303)


def _new(context: RequestContext, db: Session, values: dict[str, Any], refusal: Invalid | None = None) -> Response:
    errors = refusal.errors if refusal else {}
    in_order = {name: errors[name] for name in LABELS if name in errors} | errors
    return context.page(
        "home/items/new.html",
        refusal.status if refusal else 200,
        values=values,
        errors=in_order,
        kinds=kind_choices(),
        wirings=wiring_choices(db),
        places=gear.places(db),
        labels=LABELS,
        op=new_op(),
        place_kinds=PLACE_KINDS,
        strapped=STRAPPED,
    )


def _record(
    context: RequestContext, db: Session, code: str, said: str = "", refusal: Invalid | None = None, text: str = ""
) -> Response:
    found = record(db, item_with(db, code).id, Unit(context.program.unit))
    item = found.row.facts
    names = lane_names(find_wiring(db, item.wiring))
    lanes = lanes_now(db, item.id, item.in_service_on, names, context.today, context.zone) if len(names) > 1 else []
    return context.page(
        "home/items/record.html",
        refusal.status if refusal else 200,
        item=item,
        row=found.row,
        record=found,
        lanes=lanes,
        said=said,
        errors=refusal.errors if refusal else {},
        text=text,
        op=new_op(),
    )


def _form(
    context: RequestContext,
    db: Session,
    template: str,
    code: str,
    values: dict[str, Any],
    refusal: Invalid | None = None,
) -> Response:
    item = item_with(db, code)
    return context.page(
        template,
        refusal.status if refusal else 200,
        values=values,
        errors=refusal.errors if refusal else {},
        code=code_of(db, item.id),
        name=item_name(item.kind, item.length_mm, Unit(context.program.unit)),
        places=gear.places(db),
        labels=LABELS,
        op=new_op(),
        place_kinds=PLACE_KINDS,
        strapped=STRAPPED,
    )


def _ask_for_kinds(db: Session, told: NewItems | Placing) -> None:
    kinds = {"place_kind": told.place_kind, "place_b_kind": told.place_b_kind}
    ask_for_kinds(db, {"place": told.place, "place_b": told.place_b}, kinds)


def _typed(posted: FormData) -> dict[str, str]:
    return {name: value for name, value in posted.items() if isinstance(value, str)}
