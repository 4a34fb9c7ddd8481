"""The pages of a repair, and of a change of state by hand."""

from typing import Any
from uuid import UUID

from fastapi.responses import Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import CrewContext, LeadContext, RequestContext, page_router
from service.gear.core import End, ItemState, item_title
from service.gear.queries import item_facts
from service.kit.problems import invalid
from service.kit.quantities import Unit, parse_length, parse_money
from service.tags.queries import code_of, item_with
from service.testlog import actions, form_reader, queries
from service.testlog.core import NewRepair, fault_of
from service.testlog.log_lists import last_tests
from service.web.forms import Form, Posted, text, typed

router = page_router()


@router.get("/t/{code}/repair")
def repair_form(context: CrewContext, code: str) -> Response:
    """The form of a repair: which end, what was done, the cost."""
    with context.reading() as db:
        return _repair(context, db, code, Form(values={"end": None}))


@router.post("/t/{code}/repair")
def log_repair(context: CrewContext, code: str, posted: Posted) -> Response:
    """Log the repair, and redirect to the form of the test that proves it."""
    form = typed(posted, "what", "end", "length", "cost")

    def log() -> str:
        new = _new_repair(form.id, code, posted)

        def write(db: Session) -> str:
            return str(actions.log_repair(db, new, context.me, context.now, context.zone).id)

        context.once(new.id, "repair.log", [code, form.values], write)
        return f"/t/{code}/test?repaired=1"

    return context.submit(form, log, lambda db, form: _repair(context, db, code, form))


def _new_repair(op: UUID, code: str, posted: FormData) -> NewRepair:
    end, length, cost = text(posted, "end"), text(posted, "length"), text(posted, "cost")
    return NewRepair(
        id=op,
        item=code,
        what=form_reader.note(posted, "what"),
        end=End(end) if end in list(End) else None,
        length_mm=parse_length(length) if length else None,
        cost_cents=parse_money(cost, "cost") if cost else None,
    )


def _repair(context: RequestContext, db: Session, code: str, form: Form) -> Response:
    item_id = item_with(db, code).id
    last = next((line for line in last_tests(db, item_id, 1) if not line.voided), None)
    return context.page(
        "testlog/repair.html",
        form=form,
        **_about(context, db, item_id),
        faults=last.faults if last else (),
        repairs=queries.repairs(db, item_id),
    )


@router.get("/t/{code}/state")
def state_form(context: LeadContext, code: str) -> Response:
    """The form of a change of state by hand."""
    with context.reading() as db:
        return _state(context, db, code, Form())


@router.post("/t/{code}/state")
def change_state(context: LeadContext, code: str, posted: Posted) -> Response:
    """Change the state, with a reason."""
    form = typed(posted, "state", "reason")

    def change() -> str:
        if form.values["state"] not in list(ItemState):
            raise invalid("state", "Choose the state that it is in from now on.")
        to, reason = ItemState(form.values["state"]), form_reader.note(posted, "reason")

        def write(db: Session) -> None:
            actions.change_state(db, item_with(db, code).id, to, reason, context.me, context.now, context.zone)

        context.once(form.id, "item.state", [code, form.values], write)
        return f"/t/{code}"

    return context.submit(form, change, lambda db, form: _state(context, db, code, form), conflict="state")


def _state(context: RequestContext, db: Session, code: str, form: Form) -> Response:
    item_id = item_with(db, code).id
    return context.page(
        "testlog/state.html",
        form=form,
        **_about(context, db, item_id),
        fault=fault_of(queries.events(db, [item_id])[item_id]),
        states=list(ItemState),
    )


def _about(context: RequestContext, db: Session, item_id: UUID) -> dict[str, Any]:
    item = item_facts(db, [item_id])[item_id]
    name = item_title(item, Unit(context.program.unit))
    return {"item": item, "code": code_of(db, item_id), "name": name}
