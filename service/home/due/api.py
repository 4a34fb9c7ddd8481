"""What is due, as JSON."""

from datetime import date
from typing import Annotated

from fastapi import Query
from pydantic import BaseModel

from service.crew.context import ViewerContext, api_router
from service.home.due import queries
from service.home.due.queries import DueRow
from service.kit.dates import parse_date
from service.kit.problems import invalid
from service.season.core import DueState
from service.store.paging import MOST, page_size
from service.testlog.housekeeping import behind_of, ensure_today
from service.web import schema
from service.web.schema import Cursor, Limit

router = api_router(tag="due")


class DueOut(BaseModel):
    """An item and its due state: `due_by` is the first day that is too late, `round` counts from 0."""

    code: str
    label: str
    kind: str
    wiring: str
    length_mm: int
    place: str
    place_b: str
    state: str
    due_by: date | None
    round: int | None


class DueListOut(BaseModel):
    """`counts` are over all items that have to be tested; `items` has the first of each state, and `next` the cursors
    for more.

    While housekeeping runs, `left` items still have the due state of an earlier day, `as_of` (None: they have none).
    """

    on: date
    as_of: date | None
    left: int
    counts: dict[DueState, int]
    items: dict[DueState, list[DueOut]]
    next: dict[DueState, str]


@router.get("/due")
def due(
    context: ViewerContext,
    on: Annotated[str | None, Query(json_schema_extra=schema.DAY)] = None,
    state: Annotated[str | None, Query(json_schema_extra={"enum": [*DueState, None]})] = None,
    after: Cursor = None,
    limit: Limit = None,
) -> DueListOut:
    """Counts and items by due state, today or `on` another day, the soonest due first.

    Each state has up to `limit` items (200 by default). If `next` has a cursor for a state, that state has more: ask
    with `state` and `after`.
    """
    if after is not None and state is None:
        raise invalid("after", "after belongs to one state: name it with state=, as in state=overdue.")
    wanted = list(DueState) if state is None else [_state(state)]
    size = MOST if limit is None else page_size(limit)
    ensure_today(context)
    with context.reading() as db:
        day = parse_date(on, "on") if on else context.today
        counts, pages = queries.by_state(db, day, context.today, context.zone, size, wanted, after)
    behind = behind_of(context) if day == context.today else None
    return DueListOut(
        on=day,
        as_of=behind.as_of if behind else day,
        left=behind.left if behind else 0,
        counts=counts,
        items={each: [_as_json(line) for line in lines] for each, (lines, _) in pages.items()},
        next={each: cursor for each, (_, cursor) in pages.items() if cursor},
    )


def _as_json(line: DueRow) -> DueOut:
    item = line.item
    return DueOut(
        code=line.code,
        label=item.label,
        kind=item.kind,
        wiring=item.wiring,
        length_mm=item.length_mm,
        place=item.place,
        place_b=item.place_b,
        state=item.state,
        due_by=line.due.due_by,
        round=line.due.round,
    )


def _state(word: str) -> DueState:
    if word not in list(DueState):
        raise invalid("state", f"“{word[:20]}” is no due state; choose one of {', '.join(DueState)}.")
    return DueState(word)
