"""The page of prices: one line a sort, by the newest purchase until a lead says otherwise."""

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import LeadContext, RequestContext
from service.gear.wirings import wiring_name
from service.kit.money import parse_money
from service.kit.problems import Invalid
from service.retire.decisions import actions, queries
from service.retire.decisions.core import Sort
from service.web.forms import Posted, new_op, read_op

router = APIRouter(include_in_schema=False)


@router.get("/prices")
def prices_page(context: LeadContext, saved: bool = False) -> Response:
    """What one of each sort costs."""
    with context.reading() as db:
        return _page(context, db, saved=saved)


@router.post("/prices")
def set_prices(context: LeadContext, posted: Posted) -> Response:
    """Keep the prices that were typed; an empty field leaves its price as it is."""
    op = read_op(posted.get("op"))
    with context.reading() as db:
        sorts = queries.sorts(db)
        try:
            new = _typed(posted, list(sorts))
        except Invalid as refusal:
            return _page(context, db, posted, refusal.errors)
    content = {sort.key: cents for sort, cents in new.items()}
    context.once(op, "prices.set", content, lambda db: actions.set_prices(db, new, context.me, context.now))
    return RedirectResponse("/prices?saved=1", 303)


def _typed(posted: FormData, sorts: list[Sort]) -> dict[Sort, int]:
    new: dict[Sort, int] = {}
    errors: dict[str, str] = {}
    for sort in sorts:
        text = str(posted.get(sort.key) or "").strip()
        try:
            if text:
                new[sort] = parse_money(text, sort.key)
        except Invalid as refusal:
            errors |= refusal.errors
    if errors:
        raise Invalid(" ".join(errors.values()), errors)
    return new


def _page(
    context: RequestContext,
    db: Session,
    posted: FormData | None = None,
    errors: dict[str, str] | None = None,
    saved: bool = False,
) -> Response:
    counts = queries.sorts(db)
    sorts = sorted(counts, key=lambda sort: sort.order)
    return context.page(
        "retire/prices.html",
        422 if errors else 200,
        sorts=sorts,
        prices=queries.prices(db),
        typed=posted or {},
        errors=errors or {},
        op=new_op(),
        saved=saved,
        wirings={sort.wiring: wiring_name(db, sort.wiring) for sort in sorts},
    )
