"""Pages of the hand-over: what the next lead has to know, on one sheet of paper; making the link, and using it."""

from fastapi.responses import RedirectResponse, Response

from service.crew import queries as crew
from service.crew.access import UnknownLink
from service.crew.context import AnyoneContext, LeadContext, page_router
from service.crew.core import spelled
from service.crew.pages import refused, signed_in
from service.crew.passphrases.actions import remember_device
from service.exchange.handover import actions, queries
from service.exchange.handover.facts import LISTED, handover_facts
from service.gear.core import ItemState, item_name
from service.kit.problems import Problem
from service.kit.quantities import Unit
from service.kit.text import id_in_address
from service.testlog.housekeeping import ensure_today
from service.web.forms import Form, Posted, text, typed
from service.web.limits import PASSES
from service.web.qr import qr_svg

router = page_router()


@router.get("/handover")
def hand_over_page(context: LeadContext, new: bool = False) -> Response:
    """Show everything on one page: the gear, what is open, and what to do first."""
    ensure_today(context)
    with context.reading() as db:
        people, crew_count = queries.people_with_access(db)
        return context.page(
            "exchange/handover.html",
            known=handover_facts(db, context.today, context.zone, context.settings.backups),
            new=new,
            people=people,
            crew_count=crew_count,
            passes=crew.open_passes(db, context.now),
            tokens=crew.tokens(db),
            links=queries.open_links(db, context.now),
            names=crew.names_of(db, {link.made_by for link in queries.open_links(db, context.now)}),
            states=list(ItemState),
            name=lambda item: item_name(item.kind, item.length_mm, Unit(context.program.unit)),
            listed=LISTED,
        )


@router.post("/handover/links")
def make_link(context: LeadContext) -> Response:
    """Make the link and show it once."""
    with context.writing() as db:
        made = actions.make_link(db, context.actor)
    link = f"{context.base}/take-over#{made.secret}"
    secret = spelled(made.secret)
    return context.page("exchange/new_link.html", made=made, link=link, qr=qr_svg(link), secret=secret)


@router.post("/handover/links/{link_id}/end")
def end_link(context: LeadContext, link_id: str) -> Response:
    """End a link, so that it hands over nothing any more."""
    with context.writing() as db:
        actions.end_link(db, id_in_address(link_id, "There is no such link."), context.actor)
    return RedirectResponse("/handover#hand", 303)


@router.get("/take-over")
def take_over_page(context: AnyoneContext) -> Response:
    """Show the form for the link's secret, which is in the fragment of the address, so no server or log gets it."""
    with context.reading():
        return context.page("exchange/take_over.html", form=Form(), offer=None)


@router.post("/take-over")
def take_over(context: AnyoneContext, posted: Posted) -> Response:
    """First show what the link does; then, with a name, do it."""
    form = typed(posted, "pass", "name")
    secret, name = form.values["pass"], form.values["name"]
    offer: actions.HandoverOffer | None = None
    try:
        with context.counting(PASSES, UnknownLink), context.reading() as db:
            offer = actions.get_offer(db, secret, context.now)
        if not text(posted, "sure"):
            return context.page("exchange/take_over.html", form=form, offer=offer)
        with context.writing() as db:
            who, token = actions.take_over(db, secret, name, context.now)
            device = remember_device(db, who, token, context.device)
    except Problem as problem:  # not `submit`: a stranger sees every refusal on the form
        form = form.refused(problem, "pass")
        return refused(context, problem, "exchange/take_over.html", form=form, offer=offer)
    return signed_in(context, token, "/handover?new=1", device)
