"""Now: what to do next, depending on the role; and the links to everything else."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from fastapi.responses import JSONResponse, Response
from sqlalchemy import Row
from sqlalchemy.orm import Session

from service.crew.context import AnyoneContext, LeadContext, RequestContext, ViewerContext, page_router
from service.crew.core import Role
from service.crew.models import Person
from service.gear.core import ItemState
from service.gear.queries import item_namer
from service.home.now import queries
from service.home.now.queries import FirstStep
from service.retire.lists.actions import event_for, pull_list
from service.retire.lists.queries import PullList
from service.retire.readiness.actions import AdvisedAct, EventReadiness, advised, ready_by
from service.schedule.reminders.queries import unmailable
from service.season import queries as season
from service.season.core import DueState, RoundProgress
from service.season.models import Event
from service.sessions.core import minutes_in_words
from service.sessions.queries import sessions
from service.tags.queries import how_many_wait
from service.testlog.housekeeping import ensure_today
from service.testlog.log_lists import ListedTest
from service.testlog.models import SESSION_IS_OPEN, WorkSession
from service.testlog.rounds import open_round

router = page_router()
ACTS = 3
"""How many acts that raise the chance of the next event are shown."""


@dataclass(frozen=True)
class Now:
    """What Now shows; `sessions` are the open ones. Only a lead gets the next event's `pull` list, which takes long to
    compute, whether everything is `ready` for it, the first `acts` that make it ready, the `waiting` tags, tests that
    were `marked` as wrong, first `steps`, the last backup, and who cannot be reached by mail.

    The last backup `is_old` if there should be a newer one by now, or if there is none.
    """

    due: dict[DueState, int]
    states: dict[ItemState, int]
    suspects: int
    sessions: Sequence[Row[WorkSession, str | None, int, int]]
    season_id: str | None
    round: RoundProgress | None
    event: Event | None
    pull: PullList | None
    ready: EventReadiness | None
    acts: list[AdvisedAct]
    waiting: int = 0
    marked: list[tuple[ListedTest, list[str]]] = field(default_factory=list)
    steps: list[FirstStep] = field(default_factory=list)
    backed_up: datetime | None = None
    is_old: bool = False
    unmailable: list[Person] = field(default_factory=list)

    @property
    def items(self) -> int:
        """How many items the program has, without retired and lost ones."""
        gone = (ItemState.RETIRED, ItemState.LOST)
        return sum(count for state, count in self.states.items() if state not in gone)


@router.get("/")
def now(context: AnyoneContext) -> Response:
    """Show what to do next."""
    with context.reading() as db:
        if context.who is None:
            context.refuse_handed_over(db)
            return context.page("home/welcome.html")
    ensure_today(context)
    with context.reading() as db:
        shown = _now(context, db)
        return context.page("home/now.html", now=shown, name=item_namer(context.program), time=minutes_in_words)


@router.get("/more")
def more(context: ViewerContext) -> Response:
    """Show the links to everything else."""
    with context.reading():
        return context.page("home/more.html")


@router.get("/cautions")
def cautions(context: AnyoneContext) -> Response:
    """Show the cautions for people and gear."""
    with context.reading():
        return context.page("home/cautions.html")


@router.get("/api/v1/openapi.json")
def openapi(context: LeadContext) -> Response:
    """The JSON API's own description."""
    with context.reading():
        return JSONResponse(context.request.app.openapi())


def _now(context: RequestContext, db: Session) -> Now:
    rows = season.seasons(db)
    row = season.current(rows, context.today)
    event = event_for(db, None, context.today)
    states = queries.state_counts(db)
    leads = context.me.role is Role.LEAD
    backed_up, is_old = queries.backup(db, context.now) if leads else (None, False)
    pull = pull_list(db, event, context.today, context.zone) if event and leads else None
    ready = ready_by(db, pull, context.today) if pull else None
    return Now(
        due=season.due_counts(db),
        states=states,
        suspects=queries.suspects(db),
        sessions=sessions(db, SESSION_IS_OPEN),
        season_id=str(row.id) if row else None,
        round=open_round(db, row.id, context.today, context.zone) if row else None,
        event=event,
        pull=pull,
        ready=ready,
        acts=advised(db, ready, ready.now.acts[:ACTS]) if ready else [],
        waiting=how_many_wait(db) if leads else 0,
        marked=queries.marked_tests(db) if leads else [],
        steps=queries.first_steps(db, context.program, sum(states.values())) if leads else [],
        backed_up=backed_up,
        unmailable=unmailable(db) if leads and context.settings.mail else [],
        is_old=is_old,
    )
