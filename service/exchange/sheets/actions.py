"""Importing a sheet: first a plan of what becomes of each row, then the import in one transaction or not at all."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.core import Who
from service.exchange.sheets import gear, gear_write, tests, tests_write
from service.exchange.sheets.core.columns import measure_in
from service.exchange.sheets.core.days import Order
from service.exchange.sheets.core.fields import KNOWN
from service.exchange.sheets.core.gear_row import Choices
from service.exchange.sheets.core.import_options import (
    BlankPlace,
    ImportRequest,
    SheetKind,
    check,
    chosen,
    preview_sheet,
)
from service.exchange.sheets.core.row_status import STAYS_OUT, BadRows, RowStatus, counted, plan_digest
from service.exchange.sheets.core.sheet import read_sheet
from service.exchange.sheets.core.test_row import TestChoices
from service.exchange.sheets.messages import (
    counts_in_words,
    question_in_words,
    sentences,
    states_in_words,
    ways_in_words,
)
from service.kit.csvs import write_csv
from service.kit.dates import local_date
from service.kit.problems import Invalid, invalid
from service.kit.quantities import Unit
from service.store.drafts import WorkResult

REASON_COLUMN = "Why it stayed out"
"""The column with the reason, in the file of rows that stayed out."""


@dataclass(frozen=True)
class Setting:
    """The circumstances of an import: when, in which time zone, and how lengths are shown."""

    now: datetime
    zone: ZoneInfo
    unit: Unit


Plan = gear_write.GearPlan | tests_write.TestsPlan


def planned(db: Session, request: ImportRequest, setting: Setting) -> Plan:
    """The plan: what becomes of each row of a sheet. Nothing is written.

    Raises:
        Invalid: the sheet cannot be read as requested.
    """
    check(request)
    sheet = read_sheet(request.text, KNOWN)
    if request.kind is SheetKind.GEAR:
        lengths = next((name for name, key in zip(sheet.header, request.mapping, strict=True) if key == "length"), "")
        choices = Choices(
            request.unit, request.order, request.item_kind, measure_in(lengths), request.above is BlankPlace.SAME
        )
        today = local_date(setting.now, setting.zone)
        return gear.plan(db, sheet, request.mapping, choices, today)
    how = TestChoices(request.order, request.between)
    plan = tests.plan(db, sheet, request.mapping, how, setting.now, setting.zone)
    if plan.question:
        raise invalid("between", question_in_words(plan.question, setting.unit))
    return plan


def ends_in_words(plan: Plan) -> str:
    """The states in which the items of a sheet of tests end, in words; rows of gear name their states themselves."""
    return states_in_words(plan.ends) if isinstance(plan, tests_write.TestsPlan) else ""


@dataclass(frozen=True)
class ImportResult:
    """What an import did. `answer` has the `counts` of rows by status, how many `codes` wait to be printed, the rows
    `left` out as (line, reason), and pages to look at `after` it as (line, address, words).

    `changes` are the existing items that change; for a sheet of tests the items that it names, each with the latest
    instant in the sheet.
    """

    answer: dict[str, Any]
    changes: Mapping[UUID, datetime | None]


def import_sheet(
    db: Session, request: ImportRequest, who: Who | None, setting: Setting, seen: str = ""
) -> WorkResult[ImportResult]:
    """Import a sheet in the session's transaction. `seen` is the digest of the planned rows that were shown before.

    Raises:
        Invalid: it cannot be read, or rows are wrong and all must be right, or the plan is no longer the one that was
            shown; nothing was written.
    """
    plan = planned(db, request, setting)
    counts = counted(plan.rows)
    if seen and seen != plan_digest(plan.rows):
        raise WrongRows(
            "Nothing was brought in, since the book has changed after you looked, and rows would now become something "
            "else. Look at them again, then bring them in.",
            plan,
            "rows",
        )
    if counts[RowStatus.ERROR] and request.bad is BadRows.ALL:
        raise WrongRows(f"Nothing was brought in, since not every row is right: {counts_in_words(counts)}.", plan)
    codes = list[str]()
    if isinstance(plan, gear_write.GearPlan):
        changes: Mapping[UUID, datetime | None] = {change.id: None for change in plan.changes}
        codes, follow_ups = gear_write.write(db, plan, who, setting.now, setting.zone)
    else:
        changes = plan.last
        follow_ups = tests_write.write(db, plan, who, setting.now, setting.zone)
    left = [[row.line, " ".join(sentences(row, setting.unit))] for row in plan.rows if row.status in STAYS_OUT]
    new = [row for row in plan.rows if row.status is RowStatus.NEW]
    after = [[row.line, href, words] for row in new for href, words in ways_in_words(row)]
    answer = {"counts": dict(counts), "codes": len(codes), "left": left, "after": after}
    return WorkResult(ImportResult(answer, changes), follow_ups)


class WrongRows(Invalid):
    """Rows are wrong and all must be right, or the plan is no longer the one that was shown. `rows` is the plan, and
    `ends` the states in which the items end.
    """

    def __init__(self, detail: str, plan: Plan, field: str = "bad") -> None:
        super().__init__(detail, {field: detail})
        self.rows, self.ends = plan.rows, ends_in_words(plan)


def left_as_csv(text: str, left: Sequence[tuple[int, str]]) -> str:
    """The rows that stayed out as CSV, unchanged, each with the reason in a further column."""
    sheet = read_sheet(text, KNOWN)
    why = dict[int, str](left)

    def rows() -> Iterator[list[str]]:
        for line in (*sheet.above, *sheet.lines):
            if line.number in why:
                yield [*line.cells, why[line.number]]

    return write_csv([*sheet.header, REASON_COLUMN], rows())


@dataclass(frozen=True)
class Answers:
    """The answers of the command line to the questions that the pages ask about a sheet. None leaves one to the sheet.

    `columns` have the form NAME=FIELD (`core.import_options.chosen`).
    """

    kind: SheetKind | None = None
    columns: Sequence[str] = ()
    unit: Unit | None = None
    order: Order | None = None
    item_kind: str | None = None
    between: bool | None = None
    bad: BadRows = BadRows.ALL
    above: BlankPlace | None = None


def make_request(text: str, answers: Answers) -> ImportRequest:
    """The import that the command line requests; columns that it does not name are guessed.

    Raises:
        Invalid: it names a column or a field that does not exist.
    """
    seen = preview_sheet(text, answers.kind)
    seen = preview_sheet(text, seen.kind, chosen(seen, answers.columns))
    item_kind = seen.usual_kind if answers.item_kind is None else answers.item_kind
    return ImportRequest(
        text,
        seen.kind,
        tuple(column.key for column in seen.columns),
        answers.unit or seen.unit,
        answers.order or seen.order,
        item_kind,
        answers.between,
        answers.bad,
        answers.above,
    )
