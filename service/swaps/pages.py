"""Swap now, for the two minutes before a show: the bad one, the spare, done."""

from uuid import UUID

from fastapi.responses import Response
from sqlalchemy.orm import Session

from service.crew.context import CrewContext, RequestContext, page_router
from service.gear.queries import ItemFacts, item_facts, item_namer
from service.kit.problems import Invalid, invalid
from service.sessions.code_input import read_codes
from service.swaps import queries
from service.swaps.actions import swap, swap_with
from service.swaps.core import NewSwap
from service.tags.queries import codes_of, named_id
from service.web.forms import Form, Posted, text

router = page_router()

SPARES_SHOWN = 6


@router.get("/swap")
def swap_form(context: CrewContext, bad: str = "", spare: str = "") -> Response:
    """Name the bad one; then the spares that fit it are offered."""
    with context.reading() as db:
        return _form(context, db, Form(values={"bad": bad, "spare": spare}))


@router.post("/swap")
def swap_now(context: CrewContext, posted: Posted) -> Response:
    """Swap them, and say so; what speaks against it is told first, and may be done anyway."""
    spare = text(posted, "typed") or text(posted, "spare")
    form = Form(values={"bad": text(posted, "bad"), "spare": spare}, op=text(posted, "op"))
    anyway = posted.get("anyway") == "yes"

    def do() -> str:
        new = NewSwap(form.id, _code(form.values["bad"], "bad"), _code(spare, "spare"), anyway=anyway)
        context.once(new.id, "swap.form", [form.values, anyway], lambda db: swap(db, new, context.actor))
        return f"/swap/{new.id}"

    return context.submit(form, do, lambda db, form: _form(context, db, form), conflict="spare")


@router.get("/swap/{swap_id}")
def swapped(context: CrewContext, swap_id: UUID) -> Response:
    """What was swapped, and what to do with the bad one."""
    with context.reading() as db:
        done = swap_with(db, swap_id)
        ids = [done.bad_id, done.spare_id]
        return context.page(
            "swaps/swapped.html",
            done=done,
            items=item_facts(db, ids),
            codes=codes_of(db, ids),
            title=item_namer(context.program),
        )


def _form(context: RequestContext, db: Session, form: Form) -> Response:
    bad = None
    if form.values["bad"]:
        try:
            bad = _item(db, form.values["bad"])
        except Invalid as unknown:
            form = form.wrong(unknown.errors, max(form.status, unknown.status))
    fitting = queries.spares_for(db, bad, context.today, context.zone, SPARES_SHOWN) if bad else []
    named = [item.id for item in [*(spare for spare, _ in fitting), *([bad] if bad else [])]]
    return context.page(
        "swaps/swap.html",
        form=form,
        bad=bad,
        spares=fitting,
        codes=codes_of(db, named),
        title=item_namer(context.program),
    )


def _item(db: Session, typed: str) -> ItemFacts:
    item_id = named_id(db, _code(typed, "bad"), "bad")
    return item_facts(db, [item_id])[item_id]


def _code(typed: str, field: str) -> str:
    """The one code in what was typed or scanned."""
    codes = read_codes(typed)
    if len(codes) != 1:
        raise invalid(field, "Scan or type one code: six characters." if not codes else "Name just one code here.")
    return codes[0]
