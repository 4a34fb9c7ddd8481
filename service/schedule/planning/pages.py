"""The page that plans evenings: what there is to test, what goes on which evening, and whether that is enough."""

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import timedelta
from typing import Any

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from service.crew.context import LeadContext, RequestContext
from service.gear.core import KINDS, item_name
from service.gear.queries import ItemFacts
from service.kit.lengths import Unit
from service.kit.problems import Invalid
from service.schedule.planning import actions
from service.schedule.planning.core.shares import Task
from service.schedule.planning.forms import AHEAD_MOST, LABELS, read_evenings, shown_rows, typed_rows
from service.sessions.core import in_words
from service.testlog.housekeeping import ensure_today
from service.web.forms import Posted, new_op, read_op

router = APIRouter(include_in_schema=False)

AGAIN = "again"
"""The field that asks to plan also what an open session lists."""


@router.get("/plan")
def plan_page(context: LeadContext) -> Response:
    """The evenings that its address tells, planned; nothing is written."""
    ensure_today(context)
    return _page(context, context.request.query_params)


@router.post("/plan")
def make_sessions(context: LeadContext, posted: Posted) -> Response:
    """Make the sessions of the evenings that were shown."""
    ensure_today(context)
    op, rows, again = read_op(posted.get("op")), typed_rows(posted), posted.get(AGAIN) == "yes"
    try:
        evenings = read_evenings(rows, context.today)
        if not evenings:
            return _page(context, posted)
        context.once(
            op,
            "plan.make",
            [[row.on, row.minutes, row.helpers] for row in rows] + [again],
            lambda db: actions.make_sessions(db, op, evenings, again, context.me, context.now, context.zone),
        )
    except Invalid:
        return _page(context, posted)
    return RedirectResponse("/sessions", 303)


def _page(context: RequestContext, sent: Mapping[str, Any]) -> Response:
    rows, again = typed_rows(sent), sent.get(AGAIN) == "yes"
    with context.reading() as db:
        try:
            evenings, errors = read_evenings(rows, context.today), dict[str, str]()
        except Invalid as refusal:
            evenings, errors = [], refusal.errors
        until = max((evening.on for evening in evenings), default=context.today)
        todo = actions.work(db, context.today, until, context.zone, again)
        found = actions.propose(db, todo, evenings, context.today)
        unit = Unit(context.program.unit)

        def lines(tasks: Iterable[Task]) -> Iterable[tuple[tuple[str, str, str], int]]:
            """Each (what, where, why), and how many are alike."""
            told = ((todo.items[task.item], todo.why[task.item]) for task in tasks)
            return Counter((_title(item, unit), item.place, why) for item, why in told).items()

        return context.page(
            "schedule/plan.html",
            422 if errors else 200,
            rows=shown_rows(rows),
            filled=rows,
            again=again,
            errors=errors,
            labels=LABELS,
            todo=todo,
            found=found,
            evenings=evenings,
            op=new_op(),
            lines=lines,
            kinds=KINDS,
            time=_in_minutes,
            first=context.today,
            last=context.today + AHEAD_MOST,
        )


def _title(item: ItemFacts, unit: Unit) -> str:
    name = item_name(item.kind, item.length_mm, unit)
    return f"{item.label}, {name[:1].lower()}{name[1:]}" if item.label else name


def _in_minutes(seconds: int) -> str:
    return in_words(timedelta(minutes=-(-seconds // 60)))  # rounded up: nobody plans to the second
