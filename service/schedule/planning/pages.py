"""The page that plans evenings: what has to be tested, on which evening, and whether the evenings are enough."""

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any

from fastapi.responses import Response

from service.crew.context import LeadContext, RequestContext, page_router
from service.gear.core import KINDS, item_name
from service.gear.queries import ItemFacts
from service.kit.problems import Invalid
from service.kit.quantities import Unit
from service.schedule.planning import actions
from service.schedule.planning.core.advice import LONGEST_EVENING
from service.schedule.planning.core.shares import Task
from service.schedule.planning.forms import AHEAD_MOST, LABELS, read_evenings, shown_rows, typed_rows
from service.sessions.core import minutes_in_words
from service.testlog.housekeeping import ensure_today
from service.web.forms import Form, Posted, typed

router = page_router()

AGAIN = "again"
"""The field that asks to plan also what an open session lists."""


@router.get("/plan")
def plan_page(context: LeadContext) -> Response:
    """The plan for the evenings in the URL; nothing is written."""
    ensure_today(context)
    return _page(context, context.request.query_params)


@router.post("/plan")
def make_sessions(context: LeadContext, posted: Posted) -> Response:
    """Add a session for each evening of the plan."""
    ensure_today(context)
    form, rows, again = typed(posted), typed_rows(posted), posted.get(AGAIN) == "yes"

    def make() -> str | Response:
        evenings = read_evenings(rows, context.today)
        if not evenings:
            return _page(context, posted)
        context.once(
            form.id,
            "plan.make",
            [[row.on, row.minutes, row.helpers] for row in rows] + [again],
            lambda db: actions.make_sessions(db, form.id, evenings, again, context.actor),
        )
        return "/sessions"

    return context.submit(form, make, lambda _, form: _page(context, posted, form))


def _page(context: RequestContext, sent: Mapping[str, Any], form: Form | None = None) -> Response:
    rows, again, form = typed_rows(sent), sent.get(AGAIN) == "yes", form or Form()
    with context.reading() as db:
        try:
            evenings = read_evenings(rows, context.today)
        except Invalid as refusal:
            evenings, form = [], form.refused(refusal)
        until = max((evening.on for evening in evenings), default=context.today)
        todo = actions.work(db, context.today, until, context.zone, again)
        proposal = actions.propose(db, todo, evenings, context.today)
        unit = Unit(context.program.unit)

        def lines(tasks: Iterable[Task]) -> Iterable[tuple[tuple[str, str, str], int]]:
            """Each (what, where, why), and how many are alike."""
            reasons = ((todo.items[task.item], todo.why[task]) for task in tasks)
            return Counter((_title(item, unit), item.place, why) for item, why in reasons).items()

        return context.page(
            "schedule/plan.html",
            form=form,
            rows=shown_rows(rows),
            filled=rows,
            again=again,
            labels=LABELS,
            todo=todo,
            found=proposal,
            evenings=evenings,
            lines=lines,
            kinds=KINDS,
            time=minutes_in_words,
            longest=LONGEST_EVENING,
            first=context.today,
            last=context.today + AHEAD_MOST,
        )


def _title(item: ItemFacts, unit: Unit) -> str:
    name = item_name(item.kind, item.length_mm, unit)
    return f"{item.label}, {name[:1].lower()}{name[1:]}" if item.label else name
