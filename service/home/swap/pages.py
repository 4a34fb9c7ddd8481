"""Pages for tags on the wrong item: reporting that a tag is on another item, and checking both ends of an item."""

from dataclasses import dataclass
from uuid import UUID

from fastapi.responses import Response
from sqlalchemy.orm import Session

from service.crew.context import CrewContext, RequestContext, page_router
from service.crew.core import Actor, Role
from service.gear.actions import add_note
from service.gear.core import item_name
from service.gear.queries import ItemFacts, item_facts
from service.home.scan.core import Errand, read_errand
from service.home.tag.queries import Ends, ends
from service.kit.codes import code_in_url, read_code
from service.kit.problems import Invalid, NotFound, Problem, invalid
from service.kit.quantities import Unit
from service.tags.queries import code_of, item_with, tag_on
from service.web.forms import Form, Posted, typed

router = page_router()

NOTE_MOST = 300


@dataclass(frozen=True)
class SwapItem:
    """An item as it is stored, for comparison with the one in hand."""

    item: ItemFacts
    code: str
    name: str
    ends: Ends

    @property
    def called(self) -> str:
        """Its label or name, with its code."""
        return f"{self.item.label or self.name} ({self.code})"


@router.get("/t/{code}/not-this")
def not_this(context: CrewContext, code: str) -> Response:
    """Show what is stored about an item, and what to do if it is not the one in hand."""
    with context.reading() as db:
        return _not_this(context, db, code, Form())


@router.post("/t/{code}/not-this")
def report(context: CrewContext, code: str, posted: Posted) -> Response:
    """Report it to the lead with a note on the item, and on the item whose tag is on the other end."""
    form = typed(posted, "what", "other")

    def write() -> str:
        content = [code, form.values]
        context.once(form.id, "tag.mismatch", content, lambda db: _report(db, context.actor, code, **form.values))
        return f"/t/{read_code(code)}?other=1"

    return context.submit(form, write, lambda db, form: _not_this(context, db, code, form))


@router.get("/t/{code}/ends")
def check_ends(context: CrewContext, code: str, far: str = "", session: str = "") -> Response:
    """Show the page for scanning or typing the tag at the far end: both ends must belong to one item."""
    with context.reading() as db:
        near = _known(context, db, code)
        errand = Errand(read_errand({"session": session}).session, near.code)
        other, form = None, Form(values={"far": far})
        if far:
            try:
                other = _at_far_end(context, db, far)
            except Problem as problem:
                form = form.wrong({"far": problem.detail}, problem.status)
        return context.page(
            "home/ends.html",
            form=form,
            near=near,
            other=other,
            errand=errand,
            code=near.code,
        )


def _not_this(context: RequestContext, db: Session, code: str, form: Form) -> Response:
    known = _known(context, db, code)
    return context.page(
        "home/not_this.html", form=form, known=known, code=known.code, leads=context.me.role is Role.LEAD
    )


def _report(db: Session, actor: Actor, code: str, what: str, other: str) -> None:
    if len(what) > NOTE_MOST:
        raise invalid("what", f"Keep it to {NOTE_MOST} characters; these are {len(what)}.")
    item = item_with(db, code)
    hangs_on = f" What it hangs on: {what}" if what else ""
    at_other_end = ""
    if other:
        other_id = _item_at(db, other, "other")
        if other_id == item.id:
            raise invalid("other", "That tag is of the same item, so both ends belong together.")
        at_other_end = f" The tag at its other end is {code_of(db, other_id)}."
        text = f"Tags may be swapped: this tag hangs on one piece with {code_of(db, item.id)}."
        add_note(db, other_id, text, actor.who, actor.now)
    text = f"This tag may hang on the wrong item.{hangs_on}{at_other_end}"
    add_note(db, item.id, text, actor.who, actor.now)


def _known(context: RequestContext, db: Session, code: str) -> SwapItem:
    item_id = item_with(db, code).id
    return _as_known(context, db, item_facts(db, [item_id])[item_id])


def _as_known(context: RequestContext, db: Session, item: ItemFacts) -> SwapItem:
    name = item_name(item.kind, item.length_mm, Unit(context.program.unit))
    return SwapItem(item, code_of(db, item.id), name, ends(db, item))


def _at_far_end(context: RequestContext, db: Session, far: str) -> SwapItem:
    item_id = _item_at(db, far, "far")
    return _as_known(context, db, item_facts(db, [item_id])[item_id])


def _item_at(db: Session, typed: str, field: str) -> UUID:
    """The item that a code is or was on: an old tag still identifies its item."""
    try:
        tag = tag_on(db, code_in_url(typed) or read_code(typed))
    except (Invalid, NotFound) as problem:
        raise invalid(field, problem.detail) from problem
    if tag.item_id is None:
        raise invalid(field, f"{tag.code} is the tag of a place, not of an item.")
    return tag.item_id
