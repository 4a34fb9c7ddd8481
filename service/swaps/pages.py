"""Swap now, for the two minutes before a show: the bad one, the spare, done."""

from uuid import UUID

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew.context import CrewContext, RequestContext
from service.gear.queries import ItemFacts, item_facts, item_namer
from service.kit.problems import Conflict, Invalid, Problem, invalid
from service.sessions.typed import read_codes
from service.swaps import queries
from service.swaps.actions import swap, swap_with
from service.swaps.core import NewSwap
from service.tags.queries import codes_of, named_id
from service.web.forms import Posted, new_op, read_op

router = APIRouter(include_in_schema=False)

SPARES_SHOWN = 6


@router.get("/swap")
def swap_form(context: CrewContext, bad: str = "", spare: str = "") -> Response:
    """Name the bad one; then the spares that fit it are offered."""
    with context.reading() as db:
        return _form(context, db, {"bad": bad, "spare": spare})


@router.post("/swap")
def swap_now(context: CrewContext, posted: Posted) -> Response:
    """Swap them, and say so; what speaks against it is told first, and may be done anyway."""
    op = read_op(posted.get("op"))
    typed = str(posted.get("typed") or "").strip()
    values = {"bad": str(posted.get("bad") or "").strip(), "spare": typed or str(posted.get("spare") or "")}
    anyway = posted.get("anyway") == "yes"
    try:
        new = NewSwap(op, _code(values["bad"], "bad"), _code(values["spare"], "spare"), anyway=anyway)
        context.once(op, "swap.form", [values, anyway], lambda db: swap(db, new, context.me, context.now, context.zone))
    except (Invalid, Conflict) as refusal:
        with context.reading() as db:
            return _form(context, db, values, refusal)
    return RedirectResponse(f"/swap/{op}", 303)


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


def _form(context: RequestContext, db: Session, values: dict[str, str], refusal: Problem | None = None) -> Response:
    errors = dict(refusal.errors or {"spare": refusal.detail}) if refusal else {}
    bad = None
    if values["bad"]:
        try:
            bad = _item(db, values["bad"])
        except Invalid as unknown:
            errors |= unknown.errors
    fitting = queries.spares_for(db, bad, context.now, SPARES_SHOWN) if bad else []
    named = [item.id for item in [*(spare for spare, _ in fitting), *([bad] if bad else [])]]
    return context.page(
        "swaps/swap.html",
        refusal.status if refusal else 422 if errors else 200,
        values=values,
        errors=errors,
        bad=bad,
        spares=fitting,
        codes=codes_of(db, named),
        title=item_namer(context.program),
        op=new_op(),
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
