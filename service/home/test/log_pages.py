"""Pages of the log: the log itself, one test's result with what to do next, a void."""

from collections.abc import Callable, Sequence
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import CrewContext, LeadContext, RequestContext, ViewerContext
from service.crew.core import Role
from service.drawing import layout as drawing
from service.drawing.shapes import Drawing
from service.gear.core import item_name
from service.gear.queries import item_facts
from service.gear.wirings import find_wiring, wiring_name
from service.kit.lengths import Unit
from service.kit.problems import Invalid, NotFound
from service.kit.typed import as_id
from service.sessions import queries as session_queries
from service.sessions.claims import next_for
from service.store.paging import PAGE
from service.tags.queries import codes_of
from service.testers.queries import looked_by
from service.testlog import actions, form_reader, log_lists, queries
from service.testlog.core import CLOCK_ERROR_LEAST
from service.testlog.faults import advice, fault_in
from service.testlog.log_lists import LogFilter, read_log_filter
from service.testlog.marks.actions import let_stand, mark
from service.testlog.marks.queries import marks_of
from service.testlog.models import FaultRow, Test
from service.web.forms import Posted, new_op, read_op
from service.wiring.coverage import pass_words
from service.wiring.faults import FAULTS
from service.wiring.naming import conductor_words
from service.wiring.wirings import Wiring, read

router = APIRouter(include_in_schema=False)


@router.get("/tests")
def log_page(
    context: ViewerContext,
    item: str = "",
    since: str = "",
    fault: str = "",
    conductor: str = "",
    after: str | None = None,
) -> Response:
    """The log, the newest first, narrowed down by what is asked."""
    values = {"item": item.strip(), "since": since.strip(), "fault": fault, "conductor": conductor.strip()}
    errors: dict[str, str] = {}
    with context.reading() as db:
        try:
            asked = read_log_filter(db, **values, zone=context.zone)
        except Invalid as refusal:
            asked, errors = LogFilter(), refusal.errors
        rows, following = log_lists.log_page(db, PAGE, after, asked)
        lines = log_lists.lines(db, rows)
        ids = {item_id for line in lines for item_id in line.items}
        codes, items = codes_of(db, ids), item_facts(db, ids)
        more = urlencode({name: value for name, value in values.items() if value} | {"after": following or ""})
        return context.page(
            "testlog/log.html",
            422 if errors else 200,
            values=values,
            errors=errors,
            lines=lines,
            codes=codes,
            items=items,
            more=f"/tests?{more}" if following else None,
            name=item_name,
            unit=Unit(context.program.unit),
            fault_words=[(each.value, each.value.replace("_", " ").capitalize()) for each in FAULTS],
        )


@router.get("/tests/{test_id}")
def result_page(context: ViewerContext, test_id: str) -> Response:
    """What a test came to, what it means, and what to do next."""
    with context.reading() as db:
        return _result(context, db, _test(db, test_id))


@router.post("/tests/{test_id}/void")
def void_test(context: LeadContext, test_id: str, posted: Posted) -> Response:
    """A lead's word that the test does not stand."""

    def void(db: Session, test: UUID, reason: str) -> None:
        actions.void_test(db, test, reason, context.me, context.now, context.zone)

    return _write_words(context, test_id, posted, "reason", "test.void", void)


@router.post("/tests/{test_id}/wrong")
def mark_wrong(context: CrewContext, test_id: str, posted: Posted) -> Response:
    """The word of whoever logged it that it was wrong; a lead decides."""

    def wrong(db: Session, test: UUID, note: str) -> dict[str, Any]:
        return mark(db, read_op(posted.get("op")), test, note, context.me, context.now, context.zone)

    return _write_words(context, test_id, posted, "note", "test.mark", wrong)


@router.post("/tests/{test_id}/stands")
def let_it_stand(context: LeadContext, test_id: str, posted: Posted) -> Response:
    """A lead's word that a test stands, whatever its tester said of it."""

    def stands(db: Session, test: UUID, reason: str) -> None:
        let_stand(db, test, reason, context.me, context.now, context.zone)

    return _write_words(context, test_id, posted, "stands", "test.mark_stands", stands)


def _write_words(
    context: RequestContext,
    test_id: str,
    posted: FormData,
    field: str,
    action: str,
    write: Callable[[Session, UUID, str], Any],
) -> Response:
    """Write down what somebody says of a test, in the words of this field; where it is refused, its page says why."""
    op = read_op(posted.get("op"))
    try:
        words = form_reader.note(posted, field)
        context.once(op, action, [test_id, words], lambda db: write(db, _test(db, test_id).id, words))
    except Invalid as refusal:
        with context.reading() as db:
            return _result(context, db, _test(db, test_id), refusal.errors)
    return RedirectResponse(f"/tests/{test_id}", 303)


def _test(db: Session, test_id: str) -> Test:
    key = as_id(test_id)
    test = queries.test(db, key) if key else None
    if test is None:
        raise NotFound("There is no such test. Look for it in the log.")
    return test


def _result(context: RequestContext, db: Session, test: Test, errors: dict[str, str] | None = None) -> Response:
    ids = queries.items_of(db, [test.id])[test.id]
    items, codes = item_facts(db, ids), codes_of(db, ids)
    wiring = find_wiring(db, test.wiring)
    session = session_queries.session(db, test.session_id) if test.session_id else None
    lines = session_queries.worklist(db, session.id) if session else []
    after = next_for(lines, context.me.id, ids[0], context.now) if session and session.closed_at is None else None
    faults = queries.faults_of(db, [test.id])[test.id]
    logs = context.me.role.reaches(Role.CREW)
    marked = marks_of(db, [test.id]).get(test.id)
    line, void = log_lists.lines(db, [log_lists.row_of(db, test.id)])[0], queries.void_of(db, test.id)
    return context.page(
        "testlog/result.html",
        422 if errors else 200,
        test=test,
        line=line,
        void=void,
        errors=errors or {},
        items=[(codes[item_id], items[item_id]) for item_id in ids],
        unit=Unit(context.program.unit),
        name=item_name,
        found=advice(db, test.wiring, faults),
        drawing=_drawing(wiring, test, faults),
        wiring_name=wiring_name(db, test.wiring),
        unproven=[conductor_words(wiring, name) for name in test.unproven],
        next_line=after,
        lines=lines,
        blind=pass_words(wiring, *looked_by(db, test), pieces=len(ids)),
        op=new_op(),
        clock_wrong=abs(test.told_at - test.tested_at) >= CLOCK_ERROR_LEAST,
        marked=marked,
        can_mark=logs and test.person_id == context.me.id and marked is None and void is None,
        can_void=context.me.role.reaches(Role.LEAD) and void is None,
        can_log=logs,
    )


def _drawing(wiring: Wiring, test: Test, faults: Sequence[FaultRow]) -> Drawing:
    """The cable as it was found; a test that read nothing shows every contact as not tested."""
    readings = read(wiring, test.joined, test.probed) if test.joined or test.probed else None
    return drawing.as_found(wiring, readings, [fault_in(row) for row in faults])
