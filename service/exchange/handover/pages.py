"""Pages of the hand-over: what the next lead has to know, on one sheet of paper; giving it away, and taking it over."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from uuid import UUID

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew import queries as crew
from service.crew.context import AnyoneContext, LeadContext, RequestContext
from service.crew.core import spelled
from service.crew.pages import signed_in, text
from service.exchange.handover import actions, queries
from service.gear.core import KINDS, ItemState, item_name
from service.gear.queries import ItemFacts
from service.kit.lengths import Unit
from service.kit.problems import Problem
from service.retire.lists.actions import event_for, pull_list
from service.retire.lists.queries import PullList
from service.season import queries as season
from service.season.core import DueState, RoundProgress
from service.season.models import Event, SeasonRow
from service.store.backup import last_backup
from service.tags.queries import how_many_wait
from service.testlog.housekeeping import ensure_today
from service.testlog.rounds import progress
from service.web.forms import Posted, read_op
from service.web.limits import PASSES, TooFast
from service.web.qr import qr_svg

router = APIRouter(include_in_schema=False)

LISTED = 40
"""Items of each list on the page; what goes beyond is counted."""


@dataclass(frozen=True)
class HandoverFacts:
    """What the next lead has to know, as of today. No student's name is in it."""

    counts: list[tuple[str, dict[ItemState, int]]]
    open: list[tuple[ItemFacts, str]]
    faults: dict[UUID, str]
    overdue: list[tuple[ItemFacts, str]]
    due: dict[DueState, int]
    season: SeasonRow | None
    rounds: list[RoundProgress]
    events: list[Event]
    pull: PullList | None
    waiting: int
    backup: datetime | None
    backups: Path

    def total(self, *states: ItemState) -> int:
        """How many items are in these states."""
        return sum(by_state.get(state, 0) for _, by_state in self.counts for state in states)


@router.get("/handover")
def hand_over_page(context: LeadContext, new: bool = False) -> Response:
    """Everything on one page: what there is, what is open, what to do first."""
    ensure_today(context)
    with context.reading() as db:
        people, crew_count = queries.people_with_access(db)
        return context.page(
            "exchange/handover.html",
            known=_known(context, db),
            new=new,
            people=people,
            crew_count=crew_count,
            passes=crew.open_passes(db, context.now),
            tokens=crew.tokens(db),
            links=queries.open_links(db, context.now),
            names=crew.names_of(db, {link.from_id for link in queries.open_links(db, context.now)}),
            states=list(ItemState),
            name=lambda item: item_name(item.kind, item.length_mm, Unit(context.program.unit)),
            listed=LISTED,
        )


@router.post("/handover/links")
def make_link(context: LeadContext) -> Response:
    """Make the link and show it, once."""
    with context.writing() as db:
        made = actions.make_link(db, context.me, context.now)
    link = f"{context.base}/take-over#{made.secret}"
    secret = spelled(made.secret)
    return context.page("exchange/new_link.html", made=made, link=link, qr=qr_svg(link), secret=secret)


@router.post("/handover/links/{link_id}/end")
def take_back(context: LeadContext, link_id: str) -> Response:
    """Let a link hand over nothing any more."""
    with context.writing() as db:
        actions.take_back(db, read_op(link_id), context.me, context.now)
    return RedirectResponse("/handover#hand", 303)


@router.get("/take-over")
def take_over_page(context: AnyoneContext) -> Response:
    """Enter the link's secret. It rides in the address's fragment, which no server or log ever sees."""
    with context.reading():
        return _take_over(context)


@router.post("/take-over")
def take_over(context: AnyoneContext, posted: Posted) -> Response:
    """First show what the link does; once a name stands below, do it."""
    secret, name = text(posted, "pass"), text(posted, "name")
    offer: actions.HandoverOffer | None = None
    try:
        with context.pacing(PASSES, context.network, actions.UnknownLink), context.writing() as db:
            offer = actions.offered(db, secret, context.now)
            token = actions.take_over(db, secret, name, context.now)[1] if text(posted, "sure") else None
    except TooFast:
        raise
    except Problem as problem:
        errors = problem.errors or {"pass": problem.detail}
        return _take_over(context, problem.status, secret, name, errors, offer)
    if token is None:
        return _take_over(context, 200, secret, name, {}, offer)
    return signed_in(context, token, "/handover?new=1")


def _take_over(
    context: RequestContext,
    status: int = 200,
    secret: str = "",
    name: str = "",
    errors: dict[str, str] | None = None,
    offer: actions.HandoverOffer | None = None,
) -> Response:
    return context.page(
        "exchange/take_over.html",
        status,
        values={"pass": secret, "name": name},
        errors=errors or {},
        offer=offer,
    )


def _known(context: RequestContext, db: Session) -> HandoverFacts:
    row = season.current(season.seasons(db), context.today)
    event = event_for(db, None, context.today)
    found = queries.in_states(db, (ItemState.QUARANTINED, ItemState.IN_REPAIR), LISTED)
    return HandoverFacts(
        counts=[(KINDS[kind].plural, states) for kind, states in queries.counts(db).items()],
        open=found,
        faults=queries.last_faults(db, [item.id for item, _ in found]),
        overdue=queries.overdue(db, LISTED),
        due=season.due_counts(db),
        season=row,
        rounds=progress(db, row.id, context.zone) if row else [],
        events=list(season.next_events(db, context.today, 3)),
        pull=pull_list(db, event, context.today, context.zone) if event else None,
        waiting=how_many_wait(db),
        backup=last_backup(db),
        backups=context.settings.backups,
    )
