"""Tests as JSON: logging one, reading the log."""

from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import Query
from sqlalchemy import Row
from sqlalchemy.orm import Session

from service.crew.context import CrewContext, ViewerContext, api_router
from service.store.paging import page_size
from service.tags.queries import codes_of
from service.testlog import queries
from service.testlog.core import Verdict
from service.testlog.faults import as_json
from service.testlog.forms import MarkedOut, TestIn, TestOut, TestReceipt, TestsOut, VoidOut
from service.testlog.log_lists import log_page, read_log_filter
from service.testlog.logging_tests import PendingTest
from service.testlog.marks.queries import Marked, marks_of
from service.testlog.models import Test, Void
from service.web import schema
from service.web.batcher import WriteBatcher
from service.web.schema import Cursor, Limit
from service.wiring.faults import FAULTS

router = api_router("/tests", "tests")


@router.post("", status_code=201, response_model=TestReceipt)
async def log_test(context: CrewContext, body: TestIn) -> Any:
    """Log a test; the same id again gives the same answer, so a phone may send until it hears one."""
    context.check_rate()
    # The time of sending differs from try to try, and is no part of the content.
    content = body.model_dump(mode="json", by_alias=True, exclude={"id", "sent_at"})
    if body.lane is None:  # so that a retry of a phone from before there was a lane has the same content
        del content["lane"]
    batcher: WriteBatcher[PendingTest, Any] = context.request.app.state.tests
    return await batcher.add(PendingTest(context, body.entry(context.arrived_at), content, context.now))


@router.get("")
def list_tests(
    context: ViewerContext,
    item: Annotated[str, Query(json_schema_extra=schema.CODE_OR_EMPTY)] = "",
    since: Annotated[str, Query(json_schema_extra=schema.SINCE)] = "",
    fault: Annotated[str, Query(json_schema_extra=schema.one_of(FAULTS))] = "",
    conductor: Annotated[str, Query(json_schema_extra=schema.TEXT)] = "",
    after: Cursor = None,
    limit: Limit = None,
) -> TestsOut:
    """The log, the newest first: of one item, from a day or moment on, with one class of fault."""
    size = page_size(limit)
    with context.reading() as db:
        log_filter = read_log_filter(db, item, since, fault, conductor, context.zone)
        rows, following = log_page(db, size, after, log_filter)
        return TestsOut(items=_shown(db, rows), next=following)


def _mark(marked: Marked | None) -> MarkedOut | None:
    if marked is None:
        return None
    return MarkedOut(at=marked.at, by=marked.by, note=marked.note, stands=marked.stands is not None)


def _shown(db: Session, rows: Sequence[Row[Test, str | None, Void | None]]) -> list[TestOut]:
    ids = [test.id for test, _, _ in rows]
    faults, items, lanes = queries.faults_of(db, ids), queries.items_of(db, ids), queries.lane_of(db, ids)
    marks = marks_of(db, ids)
    codes = codes_of(db, {item_id for each in items.values() for item_id in each})
    return [
        TestOut(
            id=test.id,
            items=[codes[item_id] for item_id in items[test.id]],
            lane=lanes.get(test.id),
            wiring=test.wiring,
            method=test.method,
            verdict=Verdict(test.verdict),
            faults=[as_json(row) for row in faults[test.id]],
            unproven=test.unproven,
            joined=test.joined,
            probed=test.probed,
            evidence=test.evidence,
            note=test.note,
            tested_at=test.tested_at,
            told_at=test.told_at,
            received_at=test.received_at,
            by=by,
            session=test.session_id,
            voided=VoidOut(at=void.at, reason=void.reason) if void else None,
            marked=_mark(marks.get(test.id)),
        )
        for test, by, void in rows
    ]
