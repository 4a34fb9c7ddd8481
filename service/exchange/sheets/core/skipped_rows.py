"""Rows of a sheet that are not entries: totals, headings, notes, and repeated names of the columns. Pure."""

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from service.exchange.sheets.core.cells import folded, is_code, is_nothing
from service.exchange.sheets.core.columns import plain_name
from service.exchange.sheets.core.header import is_value
from service.exchange.sheets.core.row_status import RowStatus
from service.exchange.sheets.core.sheet import SheetRow, SheetTable
from service.kit.text import plain

_TOTAL = re.compile(
    r"(?:(?:sub|grand|over ?all)[ -]?)?totals?\b.*|(?!\d)(?:[\w&]+ ){1,3}totals?|sums?|sum of .*|summe|gesamt\w*"
    r"|in all|total.*"
)
_TOTAL_WORDS_MOST = 5
_WORD = re.compile(r"(?!n/?a$|unknown$|none$)[^\W\d]+")
_NUMBERS_OF = ("length", "count", "price", "gauge_awg", "bought_on")
_NOT_NAMES = (
    "note",
    "state",
    "batch",
    "count",
    "length",
    "price",
    "bought_on",
    "tested_at",
    "fault",
    "repair",
)
_NAMES = ("code", "label", "kind", "wiring", "description", "place")
_SAYS_MORE = 2
"""A row of bare numbers below this many rows with names is a row of totals."""

_TOTALS = "It is a total and no gear. If it is gear, call it by another name; a row with a code is taken in any case."
_NUMBERS = "Only numbers stand in this row, as in one of totals. If it is gear, write a label or its kind beside them."
_ALONE = (
    "Nothing else stands in this row, so it is taken for a heading or a note. If it is gear, fill in its other cells; "
    "if it says where the rows below belong, write that into each of them."
)
_AGAIN = "It names the columns once more."
_OTHER_NAMES = (
    "It names other columns than the first row does. Bring this table in as a sheet of its own, with this row as its "
    "first."
)


@dataclass(frozen=True)
class SkippedRow:
    """The status of a row that is not an entry, and the reason."""

    status: RowStatus
    why: str


def list_skipped_rows(
    sheet: SheetTable, mapping: Sequence[str], known: Collection[str], alone: Callable[[str, str], bool]
) -> dict[int, SkippedRow]:
    """The rows that are not entries, by line. `known` are the words of headers. `alone` says whether the only cell of a
    row, given with the field of its column, is an entry by itself.
    """
    skipped_by_line: dict[int, SkippedRow] = {}
    names = tuple(map(folded, sheet.header))
    other: int | None = None
    why: str | None
    named, ends = 0, sheet.lines[0].number if sheet.lines else 0
    for line in sheet.lines:
        cells = tuple(map(folded, line.cells))
        if _is_again(cells, names):
            other = None
            skipped_by_line[line.number] = SkippedRow(RowStatus.SKIPPED, _AGAIN)
        elif (
            _names_columns(line, known)
            or _names_most(cells, names, line)
            or (ends < line.number and _names_lengths(line, mapping))
        ):
            other = line.number
            skipped_by_line[line.number] = SkippedRow(RowStatus.NOT_TAKEN, _OTHER_NAMES)
        elif other is not None:
            why = f"It stands under the names of columns of line {other}. Bring that table in as a sheet of its own."
            skipped_by_line[line.number] = SkippedRow(RowStatus.NOT_TAKEN, why)
        elif why := _why_no_entry(line, mapping, alone, named):
            skipped_by_line[line.number] = SkippedRow(RowStatus.NOT_TAKEN, why)
        else:
            named += _is_named(line, mapping)
        ends = line.number + 1 + sum(cell.count("\n") for cell in line.cells)
    return skipped_by_line


def sections(sheet: SheetTable, skipped: Mapping[int, SkippedRow], heading_of: Callable[[str], str]) -> dict[int, str]:
    """The heading of each line that is an entry. A heading applies up to the next heading, a total, or an empty row
    that does not follow it directly; a note does not end it.
    """
    heading_by_line, heading, fresh, ends = dict[int, str](), "", False, 0
    for line in sheet.lines:
        if line.number > ends and not fresh:
            heading = ""
        ends = line.number + 1 + sum(cell.count("\n") for cell in line.cells)
        one = skipped.get(line.number)
        if one is None:
            fresh = False
            if heading:
                heading_by_line[line.number] = heading
        elif one.why != _ALONE:
            heading = heading if one.why == _AGAIN else ""
        elif words := heading_of(next(cell for cell in line.cells if cell.strip())):
            heading, fresh = words, True
    return heading_by_line


def lines_above(sheet: SheetTable) -> dict[int, SkippedRow]:
    """The text above the names of the columns, by line."""
    return {
        line.number: SkippedRow(RowStatus.SKIPPED, "It stands above the names of the columns, as a title does.")
        if sum(bool(cell.strip()) for cell in line.cells) == 1
        else SkippedRow(
            RowStatus.NOT_TAKEN,
            "It stands above the names of the columns. If it is an entry, move it below them.",
        )
        for line in sheet.above
    }


def _is_again(cells: tuple[str, ...], names: tuple[str, ...]) -> bool:
    same = [cell == name for cell, name in zip(cells, names, strict=True) if cell]
    return len(same) > 1 and all(same)


def _names_most(cells: tuple[str, ...], names: tuple[str, ...], line: SheetRow) -> bool:
    """Whether a row repeats the names of two columns and has another name for a third: a second table begins."""
    same = sum(bool(cell) and cell == name for cell, name in zip(cells, names, strict=True))
    return same > 1 and not any(map(is_value, line.cells))


def _names_columns(line: SheetRow, known: Collection[str]) -> bool:
    filled = [cell for cell in line.cells if cell.strip()]
    score = sum(plain_name(cell) in known for cell in filled)
    return score > 1 and score >= len(filled) - (len(filled) > 3) and not any(map(is_value, filled))


def _names_lengths(line: SheetRow, mapping: Sequence[str]) -> bool:
    """Whether a row below an empty one begins another table: it has a word, not a value, in the column of lengths."""
    filled = [cell for cell in line.cells if cell.strip()]
    length = next((cell for cell, key in zip(line.cells, mapping, strict=True) if key == "length"), "")
    return len(filled) > 1 and _WORD.fullmatch(length.strip()) is not None and not any(map(is_value, filled))


def _why_no_entry(line: SheetRow, mapping: Sequence[str], alone: Callable[[str, str], bool], named: int) -> str | None:
    typed = {at: cell for at, cell in enumerate(line.cells) if cell.strip()}
    if not typed:
        return None
    coded = any(mapping[at] == "code" and is_code(cell) for at, cell in typed.items())
    if not coded and any(mapping[at] not in _NOT_NAMES and _is_total(cell) for at, cell in typed.items()):
        return _TOTALS
    at, cell = next(iter(typed.items()))
    same = len({folded(cell) for cell in typed.values()}) == 1
    if same and len(line.cells) > 1 and mapping[at] not in _NUMBERS_OF:
        return None if len(typed) == 1 and alone(cell, mapping[at]) else _ALONE
    bare_row = not _is_named(line, mapping) and all(map(is_value, typed.values()))
    return _NUMBERS if bare_row and named >= _SAYS_MORE else None


def _is_total(cell: str) -> bool:
    words = folded(plain(cell)).rstrip(":= ")
    return len(words.split()) <= _TOTAL_WORDS_MOST and _TOTAL.fullmatch(words) is not None


def _is_named(line: SheetRow, mapping: Sequence[str]) -> bool:
    return any(key in _NAMES and cell.strip() for cell, key in zip(line.cells, mapping, strict=True))


def gaps(sheet: SheetTable, mapping: Sequence[str], skipped: Mapping[int, SkippedRow]) -> list[tuple[int, str]]:
    """The lines without a code and a place below one with a place, each with that place: a merged cell has its text
    only in its first row.
    """
    if "place" not in mapping:
        return []
    lines, place = [], ""
    for line in sheet.lines:
        if line.number in skipped:
            place = ""
            continue
        cells = {key: cell.strip() for cell, key in zip(line.cells, mapping, strict=True) if key}
        if not any(cells.values()):
            continue
        if cells["place"]:
            place = "" if is_nothing(cells["place"]) else cells["place"]
        elif place and not cells.get("code") and not cells.get("place_b"):
            lines.append((line.number, place))
    return lines


def filled_down(sheet: SheetTable, mapping: Sequence[str], skipped: Mapping[int, SkippedRow]) -> SheetTable:
    """The sheet with the place from above in each of its `gaps`."""
    places = dict(gaps(sheet, mapping, skipped))
    at = mapping.index("place") if places else 0
    lines = (
        replace(line, cells=(*line.cells[:at], places[line.number], *line.cells[at + 1 :]))
        if line.number in places
        else line
        for line in sheet.lines
    )
    return replace(sheet, lines=tuple(lines))


def first_cell(line: SheetRow) -> str:
    """The first cell of a row that is not empty, which is the title of a row that is not an entry."""
    return next((cell.strip() for cell in line.cells if cell.strip()), "")[:60]


def is_empty(line: SheetRow, mapping: Sequence[str]) -> bool:
    """Whether a row is empty in all columns that are imported."""
    return not any(cell.strip() for cell, key in zip(line.cells, mapping, strict=True) if key)
