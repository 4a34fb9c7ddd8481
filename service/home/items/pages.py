"""Pages of gear: the list, adding items, an item's full record, and changing its details."""

from dataclasses import replace
from urllib.parse import urlencode

from fastapi.responses import Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import CrewContext, LeadContext, RequestContext, ViewerContext, page_router
from service.gear import queries as gear
from service.gear.actions import refuse_missing_kinds
from service.gear.core import USUAL_KIND, item_name, kind_choices
from service.gear.forms import ItemDetails, NewItems, NoteText, Placing
from service.gear.pages import KINDS as PLACE_KINDS
from service.gear.wirings import find_wiring, wiring_choices
from service.home.items import actions
from service.home.items.forms import ItemFilters
from service.home.items.queries import page_of_items
from service.home.items.record import record
from service.kit.quantities import Unit
from service.store.paging import PAGE
from service.tags.queries import code_of, item_with
from service.testlog.reach import lane_names
from service.testlog.rounds import lanes_now
from service.web.forms import Form, Message, Posted, read_form, typed

router = page_router()

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
"""The fields of the forms here, by their labels."""
STRAPPED = [("", "Only at an instrument frame"), ("yes", "Yes"), ("no", "No")]
STRAPPED_WORDS = {None: "", True: "yes", False: "no"}


@router.get("/gear")
def gear_list(
    context: ViewerContext,
    filters: ItemFilters,
    after: str | None = None,
) -> Response:
    """Show the filtered gear, a page at a time."""
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
    """Show the form for adding one item, or many equal ones."""
    with context.reading() as db:
        return _new(context, db, Form(values={"kind": USUAL_KIND, "count": "1"}))


@router.post("/gear/new")
def add_items(context: LeadContext, posted: Posted) -> Response:
    """Add the items, and redirect to the item, or to the tags if there are several."""
    form = _typed(posted)

    def add() -> str:
        op, new = form.id, read_form(NewItems, posted)
        with context.reading() as db:
            _refuse_missing_kinds(db, new)
        made = context.once(
            op,
            "items.add",
            new.content(),
            lambda db: actions.add(db, context.actor, op, new, Unit(context.program.unit)),
        )
        return f"/gear/{made[0]['code']}?said=added" if len(made) == 1 else f"/tags?added={len(made)}"

    return context.submit(form, add, lambda db, form: _new(context, db, form))


@router.get("/gear/{code}")
def item_page(context: ViewerContext, code: str, message: Message = "") -> Response:
    """Show the full record of an item."""
    with context.reading() as db:
        return _record(context, db, code, Form(), message)


@router.get("/gear/{code}/edit")
def edit_page(context: LeadContext, code: str) -> Response:
    """Show the form for the details of an item."""
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
        return _form(context, db, "home/items/edit.html", code, Form(values=values))


@router.post("/gear/{code}/edit")
def edit(context: LeadContext, code: str, posted: Posted) -> Response:
    """Store the changed details of an item."""
    form = _typed(posted)

    def change() -> str:
        details = read_form(ItemDetails, posted)
        content = [code, details.model_dump(mode="json")]
        context.once(form.id, "item.edit", content, lambda db: actions.change(db, context.actor, code, details))
        return f"/gear/{code}?said=kept"

    return context.submit(form, change, lambda db, form: _form(context, db, "home/items/edit.html", code, form))


@router.get("/gear/{code}/place")
def place_page(context: LeadContext, code: str) -> Response:
    """Show the form for the place of an item."""
    with context.reading() as db:
        item = item_with(db, code)
        facts = gear.item_facts(db, [item.id])[item.id]
        strapped = STRAPPED_WORDS.get(gear.strapped_as_given(db, item.id), "")
        values = {"place": facts.place, "place_b": facts.place_b, "strapped": strapped}
        return _form(context, db, "home/items/place.html", code, Form(values=values))


@router.post("/gear/{code}/place")
def move(context: LeadContext, code: str, posted: Posted) -> Response:
    """Change the place of an item."""
    form = _typed(posted)

    def put() -> str:
        placing = read_form(Placing, posted)
        with context.reading() as db:
            _refuse_missing_kinds(db, placing)
        content = [code, placing.content()]
        context.once(form.id, "item.place", content, lambda db: actions.move(db, context.actor, code, placing))
        return f"/gear/{code}?said=moved"

    return context.submit(form, put, lambda db, form: _form(context, db, "home/items/place.html", code, form))


@router.post("/gear/{code}/notes")
def add_note(context: CrewContext, code: str, posted: Posted) -> Response:
    """Add a note to an item."""
    form = typed(posted, "text")

    def note() -> str:
        note = read_form(NoteText, posted)
        content = [code, note.text]
        context.once(form.id, "item.note", content, lambda db: actions.note(db, context.actor, code, note.text))
        return f"/gear/{code}?said=noted#notes"

    return context.submit(form, note, lambda db, form: _record(context, db, code, form))


def _new(context: RequestContext, db: Session, form: Form) -> Response:
    in_order = {name: form.errors[name] for name in LABELS if name in form.errors} | dict(form.errors)
    return context.page(
        "home/items/new.html",
        form=replace(form, errors=in_order),
        kinds=kind_choices(),
        wirings=wiring_choices(db),
        places=gear.places(db),
        labels=LABELS,
        place_kinds=PLACE_KINDS,
        strapped=STRAPPED,
    )


def _record(context: RequestContext, db: Session, code: str, form: Form, message: str = "") -> Response:
    shown = record(db, item_with(db, code).id, Unit(context.program.unit))
    item = shown.row.facts
    names = lane_names(find_wiring(db, item.wiring))
    lanes = lanes_now(db, item.id, item.in_service_on, names, context.today, context.zone) if len(names) > 1 else []
    return context.page(
        "home/items/record.html", form=form, item=item, row=shown.row, record=shown, lanes=lanes, message=message
    )


def _form(context: RequestContext, db: Session, template: str, code: str, form: Form) -> Response:
    item = item_with(db, code)
    return context.page(
        template,
        form=form,
        code=code_of(db, item.id),
        name=item_name(item.kind, item.length_mm, Unit(context.program.unit)),
        places=gear.places(db),
        labels=LABELS,
        place_kinds=PLACE_KINDS,
        strapped=STRAPPED,
    )


def _refuse_missing_kinds(db: Session, placed: NewItems | Placing) -> None:
    kinds = {"place_kind": placed.place_kind, "place_b_kind": placed.place_b_kind}
    refuse_missing_kinds(db, {"place": placed.place, "place_b": placed.place_b}, kinds)


def _typed(posted: FormData) -> Form:
    return typed(posted, *(name for name in posted if name != "op"))
