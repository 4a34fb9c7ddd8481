"""A row of a sheet of tests: what it says, or what is wrong with it. Pure."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5

from service.exchange.sheets.core import cells
from service.exchange.sheets.core.days import Order, read_moment, read_time
from service.exchange.sheets.core.faults import end_in
from service.exchange.sheets.core.fields import TESTS
from service.exchange.sheets.core.readings_cell import EnteredReadings, read_entered
from service.exchange.sheets.core.sheet import SheetRow
from service.gear.core import End
from service.kit.dates import parse_instant
from service.kit.problems import Invalid, Problem, invalid
from service.kit.text import plain, readable
from service.season.core import What
from service.testlog.core import Method

_IDS = uuid5(NAMESPACE_URL, "coilbook:sheets:tests")
WORDS = {field.key: field.words.lower() for field in TESTS}
_WHATS = {
    **dict.fromkeys(
        ("pass", "passed", "p", "ok", "okay", "good", "yes", "y", "works", "working", "fine", "true", "✓", "✔"),
        What.PASS,
    ),
    **dict.fromkeys(
        (
            "fail",
            "failed",
            "f",
            "bad",
            "no",
            "n",
            "broken",
            "dead",
            "not working",
            "false",
            "faulty",
            "defective",
            "✗",
            "✘",
        ),
        What.FAIL,
    ),
    **dict.fromkeys(("partial", "partly", "incomplete", "partial test"), What.PARTIAL),
    **dict.fromkeys(("repair", "repaired", "fixed", "mended"), What.REPAIR),
}
UNTOLD = "Repaired; the sheet does not say how."
_YES = ("yes", "y", "x", "true", "1", "done", "fixed", "repaired", "✓")
_NO = re.compile(
    r"(?:n|false|0|n\.?/?a\.?|[-.?/]*|tbd|to ?do|to be (?:done|fixed|repaired)|pending|waiting|later|open)"
    r"|(?:no|not|none|never|nothing|unrepaired|unfixed|needs?|couldn'?t|could not|can'?t|cannot|didn'?t|did not)\b.*"
)
"""Words that tell of no repair: none was needed, or it is still to come."""
_DENIED = re.compile(
    r"(?:n|no|not|never|unrepaired|unfixed|couldn'?t|could not|can'?t|cannot|didn'?t|did not)\b(?!/| yet)"
)


@dataclass(frozen=True)
class TestChoices:
    """How a sheet of tests is to be read: which number of a date comes first, and whether an item that passes after a
    fail was repaired in between, where the sheet does not tell; None where nobody has said.
    """

    order: Order | None = None
    repaired_between: bool | None = None


@dataclass(frozen=True)
class TestRow:
    """A row as it was read. `at` is None where only the day is known; `instant` where the sheet has it.

    `named` is what names the item, and `through` what names others; `lane` is the one that a single line took of them.
    `what` is a verdict, or a repair by itself, of `cost_cents` and cut to `cut_to_mm`. `unrepaired` says that the row
    denies a repair, and `marked` when its tester said that it was wrong. `own` marks a row of an export, which is
    complete. `left_out` says why the row becomes no test, where it does not.
    """

    line: int
    named: str
    on: date
    at: time | None
    instant: str | None
    what: What
    fault: str
    end: End | None
    repair: str
    note: str
    method: Method
    id: UUID | None = None
    left_out: str = ""
    unrepaired: bool = False
    own: bool = False
    entered: EnteredReadings | None = None
    through: tuple[str, ...] = ()
    wiring: str = ""
    cost_cents: int | None = None
    cut_to_mm: int | None = None
    lane: str | None = None
    marked: datetime | None = None
    marked_why: str = ""

    def id_of(self, item: UUID, turn: int) -> UUID:
        """The test's id, where the sheet has none: it follows from the item, the moment, the verdict and what was
        wrong, and from the turn among rows that have all this in common. Notes and repairs are filled in later.
        """
        moment = [str(self.on), str(self.at)] if self.instant is None else [_utc(self.instant)]
        return uuid5(_IDS, repr([str(item), moment, self.what.value, cells.folded(self.fault), turn]))

    @property
    def words(self) -> str:
        """What is kept beside the test: the sheet's words of the fault, too, so that nothing is lost. In an export
        those are the log's own.
        """
        parts = (self.note,) if self.own else (self.fault, self.note)
        return "\n".join(dict.fromkeys(part for part in parts if part))

    @property
    def mended(self) -> str:
        """What was repaired, of a row that is of a repair by itself."""
        return self.repair or self.fault or self.note or UNTOLD


def is_of_row(test_id: UUID) -> bool:
    """Whether a test's id may be one that `TestRow.id_of` made: phones make theirs at random."""
    return test_id.version == 5


def _utc(instant: str) -> str:
    return parse_instant(instant).astimezone(UTC).isoformat()


def read_row(line: SheetRow, mapping: Sequence[str], choices: TestChoices) -> TestRow:
    """What a row says.

    Raises:
        Invalid: a sentence for each field at fault.
    """
    typed = {key: cell for cell, key in zip(line.cells, mapping, strict=True) if key and cell.strip()}
    read = _Reading(typed)
    on, at, instant = read.value("tested_at", lambda cell: _when(cell, typed.get("time", ""), choices.order))
    what = read.value("verdict", _what)
    method = read.value("method", _method, Method.TWO_ENDED)
    end = read.value("end", _end, None)
    test_id = read.value("id", _id, None)
    own = test_id is not None and "entered" in mapping
    note = read.value("note", _as_it_is if own else _note, "")
    fault = read.value("fault", str.strip if own else _fault, "")
    repair_cell = read.value("repair", lambda cell: cells.read_line(cell, "repair", 200), "")
    repair, not_done, denied = (repair_cell, "", False) if own else _repair(repair_cell)
    entered = read.value("entered", read_entered, None)
    cost, cut_to = read.value("cost", cells.read_money, None), read.value("cut_to", _cut_to, None)
    marked, why = read.value("marked", parse_instant, None), read.value("marked_why", _as_it_is, "")
    read.value("code", lambda cell: cells.refuse_ditto(cell, "code"), None)
    if "code" not in typed:
        read.errors["code"] = "say which item it is of."
    if read.errors:
        raise Invalid(" ".join(read.errors.values()), read.errors)
    note = "\n".join(part for part in (note, not_done) if part)
    through, wiring = (tuple(typed.get("through", "").split()), typed.get("wiring", "").strip()) if own else ((), "")
    row = TestRow(
        line.number,
        " ".join(typed["code"].split()),
        on,
        at,
        instant,
        what,
        fault,
        end,
        repair,
        note,
        method,
        test_id,
        _left_out(typed, own),
        denied,
        own,
        entered,
        through,
        wiring,
        cost,
        cut_to,
        typed.get("lane", "").strip() or None if own else None,
        marked,
        why,
    )
    if len(row.words) > cells.NOTE_MOST:
        raise invalid(
            "note",
            f"with what was wrong it has {len(row.words)} characters; both together may have {cells.NOTE_MOST}.",
        )
    return row


def _left_out(typed: Mapping[str, str], own: bool) -> str:
    if "voided" in typed:
        return "It was voided, so it counts for nothing."
    if "marked" in typed and not own:
        return "Its tester marked it as wrong, and no lead has said that it stands."
    if "through" in typed and not own:
        return "It went through several items, and a sheet tells of one."
    return ""


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
            cells.refuse_broken_formula(self.typed[key], key)
            return read(self.typed[key])
        except Problem as problem:
            self.errors[key] = problem.detail
            return (None, None, None)


def _note(cell: str) -> str:
    return cells.read_line(cell, "note", cells.NOTE_MOST)


def _fault(cell: str) -> str:
    return cells.read_line(cell, "fault", cells.NOTE_MOST)


def _as_it_is(cell: str) -> str:
    return readable(cell)


def _cut_to(cell: str) -> int:
    return cells.read_length(cell, None)


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


def _what(cell: str) -> What:
    word = " ".join(plain(cell).lower().rstrip(".!").split())
    if word not in _WHATS:
        raise invalid("verdict", f"“{cell.strip()[:30]}” is no verdict; write pass, fail, partial or repair.")
    return _WHATS[word]


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


def _repair(words: str) -> tuple[str, str, bool]:
    """What was repaired; the words that tell of none but say more than that, which go with the test; and whether they
    deny that there was one, which leaves nothing to ask.
    """
    typed = plain(words).lower()
    if _NO.fullmatch(typed):
        return "", words if " " in typed else "", bool(_DENIED.match(typed))
    return (UNTOLD if typed in _YES else words), "", False
