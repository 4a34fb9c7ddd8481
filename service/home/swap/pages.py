"""Pages for when tag and item may not belong together: this is not what I hold, and do both ends belong to one item."""

from dataclasses import dataclass
from uuid import UUID

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew.context import CrewContext, RequestContext
from service.crew.core import Role
from service.gear.actions import add_note
from service.gear.core import item_name
from service.gear.queries import ItemFacts, item_facts
from service.home.scan.core import Errand, read_errand
from service.home.tag.queries import Ends, ends
from service.kit.codes import code_in_url, read_code
from service.kit.lengths import Unit
from service.kit.problems import Invalid, NotFound, Problem, invalid
from service.tags.queries import code_of, item_with, tag_on
from service.web.forms import Posted, new_op, read_op

router = APIRouter(include_in_schema=False)

NOTE_MOST = 300


@dataclass(frozen=True)
class SwapItem:
    """An item as the book knows it, to hold against what is in one's hands."""

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
    """What the book says of it, and what to do where that is not what one holds."""
    with context.reading() as db:
        return _not_this(context, db, code, {})


@router.post("/t/{code}/not-this")
def report(context: CrewContext, code: str, posted: Posted) -> Response:
    """Write it down for the lead, at the item and at the one whose tag hangs on the other end."""
    values = {name: str(posted.get(name) or "").strip() for name in ("what", "other")}
    op = read_op(posted.get("op"))
    try:
        context.once(op, "tag.mismatch", [code, values], lambda db: _report(db, context, code, values))
    except Invalid as refusal:
        with context.reading() as db:
            return _not_this(context, db, code, values, refusal)
    return RedirectResponse(f"/t/{read_code(code)}?other=1", 303)


@router.get("/t/{code}/ends")
def check_ends(context: CrewContext, code: str, far: str = "", session: str = "") -> Response:
    """Scan or type the tag at the far end: both ends must belong to one item."""
    with context.reading() as db:
        near = _known(context, db, code)
        errand = Errand(read_errand(session).session, near.code)
        other, refusal = None, None
        if far:
            try:
                other = _at_far_end(context, db, far)
            except Problem as problem:
                refusal = problem
        return context.page(
            "home/ends.html",
            refusal.status if refusal else 200,
            near=near,
            other=other,
            errand=errand,
            far=far,
            errors={"far": refusal.detail} if refusal else {},
            code=near.code,
            op=new_op(),
        )


def _not_this(
    context: RequestContext, db: Session, code: str, values: dict[str, str], refusal: Invalid | None = None
) -> Response:
    known = _known(context, db, code)
    return context.page(
        "home/not_this.html",
        refusal.status if refusal else 200,
        known=known,
        code=known.code,
        values=values,
        errors=refusal.errors if refusal else {},
        leads=context.me.role is Role.LEAD,
        op=new_op(),
    )


def _report(db: Session, context: RequestContext, code: str, values: dict[str, str]) -> None:
    if len(values["what"]) > NOTE_MOST:
        raise invalid("what", f"Keep it to {NOTE_MOST} characters; these are {len(values['what'])}.")
    item = item_with(db, code)
    said = f" What it hangs on: {values['what']}" if values["what"] else ""
    at_other_end = ""
    if values["other"]:
        other = _item_at(db, values["other"], "other")
        if other == item.id:
            raise invalid("other", "That tag is of the same item, so both ends belong together.")
        at_other_end = f" The tag at its other end is {code_of(db, other)}."
        text = f"Tags may be swapped: this tag hangs on one piece with {code_of(db, item.id)}."
        add_note(db, other, text, context.me, context.now)
    text = f"This tag may hang on the wrong item.{said}{at_other_end}"
    add_note(db, item.id, text, context.me, context.now)


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
    """The item that a code is or was on: an old tag still tells which item it hangs on."""
    try:
        tag = tag_on(db, code_in_url(typed) or read_code(typed))
    except (Invalid, NotFound) as problem:
        raise invalid(field, problem.detail) from problem
    if tag.item_id is None:
        raise invalid(field, f"{tag.code} is the tag of a place, not of an item.")
    return tag.item_id
