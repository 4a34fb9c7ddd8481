"""Pages of care: a repair, and a change of state by hand."""

from typing import Any
from uuid import UUID

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import CrewContext, LeadContext, RequestContext
from service.gear.core import End, ItemState, item_title
from service.gear.queries import item_facts
from service.kit.lengths import Unit, parse_length
from service.kit.money import parse_money
from service.kit.problems import Conflict, Invalid, Problem, invalid
from service.tags.queries import code_of, item_with
from service.testlog import actions, form_reader, queries
from service.testlog.core import NewRepair, fault_of
from service.testlog.log_lists import last_tests
from service.web.forms import Posted, new_op, read_op

router = APIRouter(include_in_schema=False)


@router.get("/t/{code}/repair")
def repair_form(context: CrewContext, code: str) -> Response:
    """Which end, what was done, what it cost."""
    with context.reading() as db:
        return _repair(context, db, item_with(db, code).id)


@router.post("/t/{code}/repair")
def log_repair(context: CrewContext, code: str, posted: Posted) -> Response:
    """Write the repair down; on to the test that proves it."""
    values = _texts(posted, "what", "end", "length", "cost")
    op = read_op(posted.get("op"))
    try:
        new = _new_repair(op, code, values, posted)
        context.once(op, "repair.log", [code, values], lambda db: _log(db, context, new))
    except Invalid as refusal:
        with context.reading() as db:
            return _repair(context, db, item_with(db, code).id, values, refusal.errors, str(op))
    return RedirectResponse(f"/t/{code}/test?repaired=1", 303)


def _log(db: Session, context: RequestContext, new: NewRepair) -> str:
    return str(actions.log_repair(db, new, context.me, context.now, context.zone).id)


def _new_repair(op: UUID, code: str, values: dict[str, str], posted: FormData) -> NewRepair:
    return NewRepair(
        id=op,
        item=code,
        what=form_reader.note(posted, "what"),
        end=End(values["end"]) if values["end"] in list(End) else None,
        length_mm=parse_length(values["length"]) if values["length"] else None,
        cost_cents=parse_money(values["cost"], "cost") if values["cost"] else None,
    )


def _repair(
    context: RequestContext,
    db: Session,
    item_id: UUID,
    values: dict[str, str] | None = None,
    errors: dict[str, str] | None = None,
    op: str = "",
) -> Response:
    last = next((line for line in last_tests(db, item_id, 1) if not line.voided), None)
    return context.page(
        "testlog/repair.html",
        422 if errors else 200,
        **_about(context, db, item_id),
        values=values or {"what": "", "end": None, "length": "", "cost": ""},
        errors=errors or {},
        faults=last.faults if last else (),
        repairs=queries.repairs(db, item_id),
        op=op or new_op(),
    )


@router.get("/t/{code}/state")
def state_form(context: LeadContext, code: str) -> Response:
    """Move an item to another state by hand."""
    with context.reading() as db:
        return _state(context, db, item_with(db, code).id)


@router.post("/t/{code}/state")
def change_state(context: LeadContext, code: str, posted: Posted) -> Response:
    """Keep the new state and the reason for it."""
    values = _texts(posted, "state", "reason")
    op = read_op(posted.get("op"))
    try:
        if values["state"] not in list(ItemState):
            raise invalid("state", "Choose the state that it is in from now on.")
        to, reason = ItemState(values["state"]), form_reader.note(posted, "reason")
        context.once(
            op,
            "item.state",
            [code, values],
            lambda db: actions.change_state(
                db, item_with(db, code).id, to, reason, context.me, context.now, context.zone
            ),
        )
    except (Invalid, Conflict) as refusal:
        with context.reading() as db:
            return _state(context, db, item_with(db, code).id, values, refusal)
    return RedirectResponse(f"/t/{code}", 303)


def _state(
    context: RequestContext,
    db: Session,
    item_id: UUID,
    values: dict[str, str] | None = None,
    refusal: Problem | None = None,
) -> Response:
    errors = (refusal.errors or {"state": refusal.detail}) if refusal else {}
    fault = fault_of(queries.events(db, [item_id])[item_id])
    return context.page(
        "testlog/state.html",
        refusal.status if refusal else 200,
        **_about(context, db, item_id),
        errors=errors,
        values=values or {"state": "", "reason": ""},
        fault=fault,
        states=list(ItemState),
        op=new_op(),
    )


def _about(context: RequestContext, db: Session, item_id: UUID) -> dict[str, Any]:
    item = item_facts(db, [item_id])[item_id]
    name = item_title(item, Unit(context.program.unit))
    return {"item": item, "code": code_of(db, item_id), "name": name}


def _texts(posted: FormData, *names: str) -> dict[str, str]:
    return {name: str(posted.get(name) or "").strip() for name in names}
