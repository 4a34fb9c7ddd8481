"""Bringing in a sheet: what it comes to, told first, then done in one transaction or not at all."""

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
from service.exchange.sheets.core.import_options import Above, ImportRequest, SheetKind, check, chosen, look
from service.exchange.sheets.core.row_status import STAYS_OUT, BadRows, RowStatus, counted, seal
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

STAYED = "Why it stayed out"
"""The column that says so, in the rows that are given back."""


@dataclass(frozen=True)
class Setting:
    """Where an import happens: when, in which zone, and how lengths are shown."""

    now: datetime
    zone: ZoneInfo
    unit: Unit


Plan = gear_write.GearPlan | tests_write.TestsPlan


def planned(db: Session, request: ImportRequest, setting: Setting) -> Plan:
    """What becomes of each row of a sheet. Nothing is written.

    Raises:
        Invalid: it cannot be read as it was asked.
    """
    check(request)
    sheet = read_sheet(request.text, KNOWN)
    if request.kind is SheetKind.GEAR:
        lengths = next((name for name, key in zip(sheet.header, request.mapping, strict=True) if key == "length"), "")
        choices = Choices(
            request.unit, request.order, request.item_kind, measure_in(lengths), request.above is Above.SAME
        )
        today = local_date(setting.now, setting.zone)
        return gear.plan(db, sheet, request.mapping, choices, today)
    how = TestChoices(request.order, request.between)
    plan = tests.plan(db, sheet, request.mapping, how, setting.now, setting.zone)
    if plan.question:
        raise invalid("between", question_in_words(plan.question, setting.unit))
    return plan


def ends_in_words(plan: Plan) -> str:
    """In which states the items of a sheet of tests end; of gear the rows themselves say which states they name."""
    return states_in_words(plan.ends) if isinstance(plan, tests_write.TestsPlan) else ""


@dataclass(frozen=True)
class Brought:
    """What an import did. `answer` has `counts` of rows by status, how many `codes` wait to be printed, the rows `left`
    out: (line, why), and what to look at `after`: (line, address, words).

    `changes` are the items that were here and of which something changes; in a sheet of tests those that it names,
    each with the latest moment that it tells of.
    """

    answer: dict[str, Any]
    changes: Mapping[UUID, datetime | None]


def bring_in(
    db: Session, request: ImportRequest, who: Who | None, setting: Setting, seen: str = ""
) -> WorkResult[Brought]:
    """Import a sheet, in the transaction at hand; `seen` is the seal of the rows that somebody was shown before.

    Raises:
        Invalid: it cannot be read, or rows are wrong and all must be right, or rows would become something else than
            was shown; nothing was written.
    """
    plan = planned(db, request, setting)
    counts = counted(plan.rows)
    if seen and seen != seal(plan.rows):
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
    return WorkResult(Brought(answer, changes), follow_ups)


class WrongRows(Invalid):
    """Rows are wrong, and all must be right, or they are not as they were shown; `rows` has what becomes of each, and
    `ends` in which states their items end.
    """

    def __init__(self, detail: str, plan: Plan, field: str = "bad") -> None:
        super().__init__(detail, {field: detail})
        self.rows, self.ends = plan.rows, ends_in_words(plan)


def left_as_csv(text: str, left: Sequence[tuple[int, str]]) -> str:
    """The rows that stayed out, as they came, each with the reason."""
    sheet = read_sheet(text, KNOWN)
    why = dict[int, str](left)

    def rows() -> Iterator[list[str]]:
        for line in (*sheet.above, *sheet.lines):
            if line.number in why:
                yield [*line.cells, why[line.number]]

    return write_csv([*sheet.header, STAYED], rows())


@dataclass(frozen=True)
class Answers:
    """What the command line says of a sheet: all that the pages ask. None leaves it to the sheet.

    `columns` are of the form NAME=FIELD (`core.request.chosen`).
    """

    kind: SheetKind | None = None
    columns: Sequence[str] = ()
    unit: Unit | None = None
    order: Order | None = None
    item_kind: str | None = None
    between: bool | None = None
    bad: BadRows = BadRows.ALL
    above: Above | None = None


def answered(text: str, answers: Answers) -> ImportRequest:
    """An import as the command line asks for it: columns as guessed where it does not say.

    Raises:
        Invalid: it names a column or a field that there is not.
    """
    seen = look(text, answers.kind)
    seen = look(text, seen.kind, chosen(seen, answers.columns))
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
