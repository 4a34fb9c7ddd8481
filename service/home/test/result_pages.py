"""Pages of a logged test: its result, what to do next, voiding it, and marking it as wrong."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from fastapi.responses import Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import CrewContext, LeadContext, RequestContext, ViewerContext, page_router
from service.gear.core import item_name
from service.home.test.result import result_facts
from service.kit.problems import NotFound
from service.kit.quantities import Unit
from service.kit.text import as_id
from service.testlog import actions, form_reader, queries
from service.testlog.marks.actions import let_stand, mark
from service.testlog.models import Test
from service.web.forms import Form, Posted, typed

router = page_router()


@router.get("/tests/{test_id}")
def result_page(context: ViewerContext, test_id: str) -> Response:
    """Show the result of a test, what it means, and what to do next."""
    with context.reading() as db:
        return _result(context, db, _test(db, test_id), Form())


@router.post("/tests/{test_id}/void")
def void_test(context: LeadContext, test_id: str, posted: Posted) -> Response:
    """Void a test: a lead decides that it does not count, with a reason."""

    def void(db: Session, _op: UUID, test: UUID, reason: str) -> None:
        actions.void_test(db, test, reason, context.me, context.now, context.zone)

    return _save_note(context, test_id, posted, "reason", "test.void", void)


@router.post("/tests/{test_id}/wrong")
def mark_wrong(context: CrewContext, test_id: str, posted: Posted) -> Response:
    """Mark a test as wrong: its tester does so, and a lead decides."""

    def wrong(db: Session, op: UUID, test: UUID, note: str) -> dict[str, Any]:
        return mark(db, op, test, note, context.me, context.now, context.zone)

    return _save_note(context, test_id, posted, "note", "test.mark", wrong)


@router.post("/tests/{test_id}/stands")
def decline_mark(context: LeadContext, test_id: str, posted: Posted) -> Response:
    """Decline a mark: a lead decides that the test counts although its tester marked it as wrong."""

    def stands(db: Session, _op: UUID, test: UUID, reason: str) -> None:
        let_stand(db, test, reason, context.me, context.now, context.zone)

    return _save_note(context, test_id, posted, "stands", "test.mark_stands", stands)


def _save_note(
    context: RequestContext,
    test_id: str,
    posted: FormData,
    field: str,
    action: str,
    write: Callable[[Session, UUID, UUID, str], Any],
) -> Response:
    """Save a note about a test and go back to its page; a refused note is shown there again with the reason.

    Args:
        field: the field of the form that holds the note.
        action: the action of the receipt.
        write: saves the note, given the operation id, the id of the test and the note.
    """
    form = typed(posted, field)

    def keep() -> str:
        note = form_reader.note(posted, field)
        op = form.id
        context.once(op, action, [test_id, note], lambda db: write(db, op, _test(db, test_id).id, note))
        return f"/tests/{test_id}"

    return context.submit(form, keep, lambda db, form: _result(context, db, _test(db, test_id), form))


def _test(db: Session, test_id: str) -> Test:
    key = as_id(test_id)
    test = queries.test(db, key) if key else None
    if test is None:
        raise NotFound("There is no such test. Look for it in the log.")
    return test


def _result(context: RequestContext, db: Session, test: Test, form: Form) -> Response:
    facts = result_facts(db, test, context.me, context.now)
    unit = Unit(context.program.unit)
    return context.page("testlog/result.html", form=form, unit=unit, name=item_name, **facts)
