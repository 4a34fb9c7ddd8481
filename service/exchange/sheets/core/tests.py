"""A row of a sheet of tests: what it says, or what is wrong with it. Pure."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, time
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5

from service.exchange.sheets.core import cells
from service.exchange.sheets.core.columns import TESTS
from service.exchange.sheets.core.days import Order, read_moment, read_time
from service.exchange.sheets.core.faults import end_in
from service.exchange.sheets.core.sheet import Line
from service.gear.core import End
from service.kit.dates import parse_instant
from service.kit.problems import Invalid, Problem, invalid
from service.kit.typed import plain
from service.testlog.core import Method, Verdict

_IDS = uuid5(NAMESPACE_URL, "coilbook:sheets:tests")
WORDS = {field.key: field.words.lower() for field in TESTS}
_VERDICTS = {
    **dict.fromkeys(
        ("pass", "passed", "p", "ok", "okay", "good", "yes", "y", "works", "working", "fine", "true", "✓", "✔"),
        Verdict.PASS,
    ),
    **dict.fromkeys(
        ("fail", "failed", "f", "bad", "no", "n", "broken", "dead", "not working", "false", "faulty", "defective",
         "✗", "✘"), Verdict.FAIL,
    ),
    **dict.fromkeys(("partial", "partly", "incomplete", "partial test"), Verdict.PARTIAL),
}  # fmt: skip
_YES = ("yes", "y", "x", "true", "1", "done", "fixed", "repaired", "✓")
_NO = re.compile(
    r"(?:n|false|0|n\.?/?a\.?|[-.?/]*|tbd|to ?do|to be (?:done|fixed|repaired)|pending|waiting|later|open)"
    r"|(?:no|not|none|never|nothing|unrepaired|unfixed|needs?|couldn'?t|could not|can'?t|cannot|didn'?t|did not)\b.*"
)
"""Words that tell of no repair: none was needed, or it is still to come."""


@dataclass(frozen=True)
class TestChoices:
    """How a sheet of tests is to be read: which number of a date comes first, and whether a pass after a fail says
    that the item was repaired in between, as sheets without a column for repairs leave it out.
    """

    order: Order | None = None
    repaired_between: bool = False


@dataclass(frozen=True)
class TestRow:
    """A row as it was read. `at` is None where only the day is known; `instant` where the sheet has it.

    `named` is what names the item. `left_out` says why the row becomes no test, where it does not.
    """

    line: int
    named: str
    on: date
    at: time | None
    instant: str | None
    verdict: Verdict
    fault: str
    end: End | None
    repair: str
    note: str
    method: Method
    id: UUID | None = None
    left_out: str = ""

    def id_of(self, item: UUID, turn: int) -> UUID:
        """The test's id, where the sheet has none: it follows from the item, the moment, the verdict and what was
        wrong, and from the turn among rows that have all this in common. Notes and repairs are filled in later.
        """
        moment = [str(self.on), str(self.at)] if self.instant is None else [_utc(self.instant)]
        return uuid5(_IDS, repr([str(item), moment, self.verdict.value, cells.folded(self.fault), turn]))

    @property
    def words(self) -> str:
        """What is kept beside the test: the sheet's words of the fault, too, so that nothing is lost."""
        return "\n".join(dict.fromkeys(part for part in (self.fault, self.note) if part))


def is_of_row(test_id: UUID) -> bool:
    """Whether a test's id may be one that `TestRow.id_of` made: phones make theirs at random."""
    return test_id.version == 5


def _utc(instant: str) -> str:
    return parse_instant(instant).astimezone(UTC).isoformat()


def read_row(line: Line, mapping: Sequence[str], choices: TestChoices) -> TestRow:
    """What a row says.

    Raises:
        Invalid: a sentence for each field at fault.
    """
    typed = {key: cell for cell, key in zip(line.cells, mapping, strict=True) if key and cell.strip()}
    read = _Reading(typed)
    on, at, instant = read.value("tested_at", lambda cell: _when(cell, typed.get("time", ""), choices.order))
    verdict = read.value("verdict", _verdict)
    method = read.value("method", _method, Method.TWO_ENDED)
    end = read.value("end", _end, None)
    test_id = read.value("id", _id, None)
    note = read.value("note", lambda cell: cells.read_line(cell, "note", cells.NOTE_MOST), "")
    fault = read.value("fault", lambda cell: cells.read_line(cell, "fault", cells.NOTE_MOST), "")
    repair, not_done = _repair(
        read.value("repair", lambda cell: cells.read_line(cell, "repair", 200), "") or ""
    )
    if "code" not in typed:
        read.errors["code"] = "say which item it is of."
    if read.errors:
        raise Invalid(" ".join(read.errors.values()), read.errors)
    note = "\n".join(part for part in (note, not_done) if part)
    row = TestRow(
        line.number, " ".join(typed["code"].split()), on, at, instant, verdict, fault, end, repair, note, method,
        test_id, _left_out(typed),
    )  # fmt: skip
    if len(row.words) > cells.NOTE_MOST:
        raise invalid(
            "note",
            f"with what was wrong it has {len(row.words)} characters; both together may have {cells.NOTE_MOST}.",
        )
    return row


def _left_out(typed: Mapping[str, str]) -> str:
    if "voided" in typed:
        return "It was voided, so it counts for nothing."
    return "It went through several items, and a sheet tells of one." if "through" in typed else ""


class _Reading:
    """Reads cells one after the other, and keeps a sentence for each that is wrong."""

    def __init__(self, typed: Mapping[str, str]) -> None:
        self.typed = typed
        self.errors: dict[str, str] = {}

    def value(self, key: str, read: Any, *blank: Any) -> Any:
        """What a cell says; `blank` where it is empty, if it may be."""
        if key not in self.typed:
            if blank:
                return blank[0]
            self.errors[key] = f"the {WORDS[key]} is missing."
            return (None, None, None)
        try:
            return read(self.typed[key])
        except Problem as problem:
            self.errors[key] = problem.detail
            return (None, None, None)


def _when(cell: str, clock: str, order: Order | None) -> tuple[date, time | None, str | None]:
    text = plain(cell)
    try:
        parse_instant(text)
    except Invalid:
        day, at = read_moment(cell, order, "tested_at")
    else:
        return parse_instant(text).date(), None, text
    if not day.exact:
        raise invalid("tested_at", f"“{cell.strip()[:40]}” is no day; a test needs one, like 2026-10-06.")
    return day.on, read_time(clock) if clock.strip() else at, None


def _verdict(cell: str) -> Verdict:
    word = " ".join(plain(cell).lower().rstrip(".!").split())
    if word not in _VERDICTS:
        raise invalid("verdict", f"“{cell.strip()[:30]}” is no verdict; write pass, fail or partial.")
    return _VERDICTS[word]


def _method(cell: str) -> Method:
    word = "_".join(plain(cell).lower().replace("-", " ").split())
    if word not in set(Method):
        words = ", ".join(method.value.replace("_", " ") for method in Method)
        raise invalid("method", f"“{cell.strip()[:30]}” is no method; write one of {words}, or nothing.")
    return Method(word)


def _end(cell: str) -> End | None:
    end = end_in(cell)
    if end is None and plain(cell).lower() not in ("both", "unknown", "?", "-", ""):
        raise invalid("end", f"“{cell.strip()[:20]}” is no end; write A or B, or nothing.")
    return end


def _id(cell: str) -> UUID:
    try:
        return UUID(cell.strip())
    except ValueError as error:
        raise invalid("id", f"“{cell.strip()[:40]}” is no id; leave the column out.") from error


def _repair(words: str) -> tuple[str, str]:
    """What was repaired, and the words that tell of none but say more than that: they go with the test."""
    typed = plain(words).lower()
    if _NO.fullmatch(typed):
        return "", words if " " in typed else ""
    return ("Repaired; the sheet does not say how." if typed in _YES else words), ""
