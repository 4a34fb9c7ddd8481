"""Reading a row of a sheet of tests: its values, or what is wrong with it. Pure."""

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
"""Words in a cell for a repair that mean that there was none: it was not needed, or is still to be done."""
_DENIED = re.compile(
    r"(?:n|no|not|never|unrepaired|unfixed|couldn'?t|could not|can'?t|cannot|didn'?t|did not)\b(?!/| yet)"
)


@dataclass(frozen=True)
class TestChoices:
    """How to read a sheet of tests: which number of a date comes first, and whether an item that passes after a fail
    was repaired in between if the sheet does not say; None if nobody has answered.
    """

    order: Order | None = None
    repaired_between: bool | None = None


@dataclass(frozen=True)
class TestRow:
    """The values of a row. `at` is None if only the day is known; `instant` is set if the sheet has it.

    `named` names the item, `through` further items of the test, and `lane` the lane that a single line used in them.
    `what` is a verdict, or a repair in a row of its own, with `cost_cents` and `cut_to_mm`. `unrepaired` says that the
    row denies a repair, and `marked` is when its tester marked it as wrong. `own` marks a row of an export, which is
    complete. `left_out` is why the row is not imported as a test, if it is not.
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
        """The test's id if the sheet has none. It depends on the item, the instant, the verdict and the fault, and on
        the position among rows that are equal in these; not on notes and repairs, which people add later.
        """
        moment = [str(self.on), str(self.at)] if self.instant is None else [_utc(self.instant)]
        return uuid5(_IDS, repr([str(item), moment, self.what.value, cells.folded(self.fault), turn]))

    @property
    def words(self) -> str:
        """The note of the test. It includes the sheet's words for the fault, so that nothing is lost; in an export
        those are the log's own words and are left out.
        """
        parts = (self.note,) if self.own else (self.fault, self.note)
        return "\n".join(dict.fromkeys(part for part in parts if part))

    @property
    def what_repaired(self) -> str:
        """What was repaired, for a row of its own for a repair."""
        return self.repair or self.fault or self.note or UNTOLD


def is_of_row(test_id: UUID) -> bool:
    """Whether `TestRow.id_of` may have made a test's id: the ids of phones are random."""
    return test_id.version == 5


def _utc(instant: str) -> str:
    return parse_instant(instant).astimezone(UTC).isoformat()


def read_row(line: SheetRow, mapping: Sequence[str], choices: TestChoices) -> TestRow:
    """The values of a row.

    Raises:
        Invalid: with a sentence for each wrong field.
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
    """Reads cells one after the other, and collects a sentence for each wrong one."""

    def __init__(self, typed: Mapping[str, str]) -> None:
        self.typed = typed
        self.errors: dict[str, str] = {}

    def value(self, key: str, read: Any, *blank: Any) -> Any:
        """The value of a cell; `blank` if it is empty and may be."""
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
    """What was repaired; or else the words, if they say more than that there was no repair, for the note of the test;
    and whether they deny a repair, so that nothing has to be asked.
    """
    typed = plain(words).lower()
    if _NO.fullmatch(typed):
        return "", words if " " in typed else "", bool(_DENIED.match(typed))
    return (UNTOLD if typed in _YES else words), "", False
