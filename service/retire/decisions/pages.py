"""The page of the pull list's thresholds."""

from fastapi.responses import Response
from sqlalchemy.orm import Session

from service.crew.context import LeadContext, RequestContext, page_router
from service.retire.decisions import actions, queries
from service.retire.decisions.core import Limits
from service.retire.decisions.forms import BOUNDS, read_limits, shown_limits
from service.web.forms import Form, Posted, typed

router = page_router()


@router.get("/pull/limits")
def limits_page(context: LeadContext, saved: bool = False) -> Response:
    """The program's thresholds."""
    with context.reading() as db:
        return _limits(context, db, Form(values=shown_limits(queries.limits(db))), saved)


@router.post("/pull/limits")
def set_limits(context: LeadContext, posted: Posted) -> Response:
    """Set the thresholds."""
    form = typed(posted, *BOUNDS, "repair_cents")

    def keep() -> str:
        new = read_limits(posted)
        context.once(form.id, "pull.limits", form.values, lambda db: actions.set_limits(db, new, context.actor))
        return "/pull/limits?saved=1"

    return context.submit(form, keep, lambda db, form: _limits(context, db, form))


def _limits(context: RequestContext, db: Session, form: Form, saved: bool = False) -> Response:
    return context.page(
        "retire/limits.html",
        form=form,
        bounds=BOUNDS,
        saved=saved,
        usual=shown_limits(Limits()),
        by_default=not queries.has_limits(db),
    )
