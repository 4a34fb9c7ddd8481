"""The page of thresholds: what the pull list goes by."""

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from service.crew.context import LeadContext
from service.kit.problems import Invalid
from service.retire.decisions import actions, queries
from service.retire.decisions.core import Limits
from service.retire.decisions.forms import BOUNDS, read_limits, shown_limits
from service.web.forms import Posted, new_op, read_op

router = APIRouter(include_in_schema=False)


@router.get("/pull/limits")
def limits_page(context: LeadContext, saved: bool = False) -> Response:
    """The program's thresholds."""
    with context.reading() as db:
        values = shown_limits(queries.limits(db))
        return context.page(
            "retire/limits.html",
            values=values,
            errors={},
            bounds=BOUNDS,
            op=new_op(),
            saved=saved,
            usual=shown_limits(Limits()),
        )


@router.post("/pull/limits")
def set_limits(context: LeadContext, posted: Posted) -> Response:
    """Keep the thresholds."""
    values = {name: str(posted.get(name) or "") for name in (*BOUNDS, "repair_cents")}
    try:
        new = read_limits(posted)
    except Invalid as refusal:
        with context.reading():
            return context.page(
                "retire/limits.html",
                422,
                values=values,
                errors=refusal.errors,
                bounds=BOUNDS,
                op=new_op(),
                saved=False,
                usual=shown_limits(Limits()),
            )
    context.once(
        read_op(posted.get("op")),
        "pull.limits",
        values,
        lambda db: actions.set_limits(db, new, context.me, context.now),
    )
    return RedirectResponse("/pull/limits?saved=1", 303)
