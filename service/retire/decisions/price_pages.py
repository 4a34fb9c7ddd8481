"""The page of prices: one row a sort, with the price of the newest purchase until a lead sets another."""

from collections.abc import Iterable, Mapping

from fastapi.responses import Response
from sqlalchemy.orm import Session

from service.crew.context import LeadContext, RequestContext, page_router
from service.gear.wirings import wiring_name
from service.kit.problems import Invalid
from service.kit.quantities import parse_money
from service.retire.decisions import actions, queries
from service.retire.decisions.core import Sort
from service.web.forms import Form, Posted, typed

router = page_router()


@router.get("/prices")
def prices_page(context: LeadContext, saved: bool = False) -> Response:
    """The price of one of each sort."""
    with context.reading() as db:
        return _page(context, db, Form(), saved)


@router.post("/prices")
def set_prices(context: LeadContext, posted: Posted) -> Response:
    """Set the prices that were typed; an empty field leaves its price as it is."""
    with context.reading() as db:
        known = list(queries.sorts(db))
    form = typed(posted, *(sort.key for sort in known))

    def keep() -> str:
        prices = _read(form.values, known)
        content = {sort.key: cents for sort, cents in prices.items()}
        context.once(form.id, "prices.set", content, lambda db: actions.set_prices(db, prices, context.actor))
        return "/prices?saved=1"

    return context.submit(form, keep, lambda db, form: _page(context, db, form))


def _read(texts: Mapping[str, str], known: Iterable[Sort]) -> dict[Sort, int]:
    prices: dict[Sort, int] = {}
    errors: dict[str, str] = {}
    for sort in known:
        try:
            if texts[sort.key]:
                prices[sort] = parse_money(texts[sort.key], sort.key)
        except Invalid as refusal:
            errors |= refusal.errors
    if errors:
        raise Invalid(" ".join(errors.values()), errors)
    return prices


def _page(context: RequestContext, db: Session, form: Form, saved: bool = False) -> Response:
    sorts = sorted(queries.sorts(db), key=lambda sort: sort.order)
    return context.page(
        "retire/prices.html",
        form=form,
        sorts=sorts,
        prices=queries.prices(db),
        saved=saved,
        wirings={sort.wiring: wiring_name(db, sort.wiring) for sort in sorts},
    )
