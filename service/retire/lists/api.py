"""The pull list and its ticks as JSON."""

from typing import Annotated, Any

from fastapi import Query

from service.crew.context import CrewContext, ViewerContext, api_router
from service.gear.core import item_title
from service.kit.problems import NotFound
from service.kit.quantities import Unit
from service.retire.lists import actions
from service.retire.lists.forms import (
    BuyOut,
    EventOut,
    LeadDecisionOut,
    PullListOut,
    PullOut,
    TickIn,
    TickOut,
    UnprovenOut,
)
from service.retire.lists.queries import PullList, PullRow
from service.retire.lists.ticking import tick
from service.season.models import EventKind
from service.testlog.housekeeping import ensure_today

router = api_router("/pull", "pull list")


@router.get("")
def pull_list(
    context: ViewerContext, event: Annotated[str | None, Query(json_schema_extra={"format": "uuid"})] = None
) -> PullListOut:
    """What to pull before an event, by its id; without one, before the next event."""
    ensure_today(context)
    with context.reading() as db:
        chosen = actions.event_for(db, event, context.today)
        if chosen is None:
            raise NotFound("No event is coming. Add one to the season, or name one with event=.")
        return _as_json(actions.pull_list(db, chosen, context.today, context.zone), Unit(context.program.unit))


@router.post("/ticks", status_code=201, response_model=TickOut)
def tick_row(context: CrewContext, body: TickIn) -> Any:
    """Tick a row of a list; the same id again gives the same answer."""
    return context.once(body.id, "pull.tick", body.content(), lambda db: tick(db, body.entry(), context.actor))


def _as_json(pull: PullList, unit: Unit) -> PullListOut:
    event = pull.event
    return PullListOut(
        event=EventOut(id=event.id, name=event.name, kind=EventKind(event.kind), on=event.on),
        judged=pull.judged,
        done=len(pull.rows) - len(pull.open),
        counts=pull.counts,
        items=[_row(row, unit) for row in pull.rows],
        buy=[
            BuyOut(kind=sort.kind, wiring=sort.wiring, length_mm=sort.length_mm, count=count)
            for sort, count in pull.shopping.items()
        ],
    )


def _row(row: PullRow, unit: Unit) -> PullOut:
    item, decided, decision = row.item, row.decided, row.lead_decision
    _, place, place_b = row.place
    return PullOut(
        code=row.code,
        name=item_title(item, unit),
        label=item.label,
        kind=item.kind,
        wiring=item.wiring,
        length_mm=item.length_mm,
        place=place,
        place_b=place_b,
        state=item.state,
        due=decided.gear.today.state if decided else None,
        due_at_event=decided.gear.then.state if decided else None,
        reasons=list(decided.reasons) if decided else [],
        why=list(row.why),
        action=row.action,
        comes_out=row.comes_out,
        spare=row.spare_code,
        spare_length_mm=row.spare.length_mm if row.spare else None,
        spare_place=row.spare.place if row.spare else "",
        unproven=[
            UnprovenOut(code=code, place=spare.place, length_mm=spare.length_mm) for spare, code in row.would_fit
        ],
        risk=decided.gear.risk if decided else None,
        overruled=LeadDecisionOut(action=decision.action, reason=decision.reason, by=decision.by, until=decision.until)
        if decision and decision.action
        else None,
        done_at=row.done.at if row.done else None,
    )
