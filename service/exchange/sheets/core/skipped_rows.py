"""Rows of a sheet that are no entries: totals, headings, notes, and the names of the columns once more. Pure."""

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from service.exchange.sheets.core.cells import folded, is_code, is_nothing
from service.exchange.sheets.core.columns import bare
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
"""So many rows with names above a row of bare numbers make it one of totals."""

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
class Aside:
    """What becomes of a row that is no entry, and why."""

    status: RowStatus
    why: str


def asides(
    sheet: SheetTable, mapping: Sequence[str], known: Collection[str], alone: Callable[[str, str], bool]
) -> dict[int, Aside]:
    """The rows that are no entries, by line. `known` are the words that headers have; `alone` tells of the only cell
    of a row, with the field of its column, whether it is an entry by itself.
    """
    aside_by_line: dict[int, Aside] = {}
    names = tuple(map(folded, sheet.header))
    other: int | None = None
    why: str | None
    named, ends = 0, sheet.lines[0].number if sheet.lines else 0
    for line in sheet.lines:
        cells = tuple(map(folded, line.cells))
        if _is_again(cells, names):
            other = None
            aside_by_line[line.number] = Aside(RowStatus.SKIPPED, _AGAIN)
        elif (
            _names_columns(line, known)
            or _names_most(cells, names, line)
            or (ends < line.number and _names_lengths(line, mapping))
        ):
            other = line.number
            aside_by_line[line.number] = Aside(RowStatus.NOT_TAKEN, _OTHER_NAMES)
        elif other is not None:
            why = f"It stands under the names of columns of line {other}. Bring that table in as a sheet of its own."
            aside_by_line[line.number] = Aside(RowStatus.NOT_TAKEN, why)
        elif why := _why_no_entry(line, mapping, alone, named):
            aside_by_line[line.number] = Aside(RowStatus.NOT_TAKEN, why)
        else:
            named += _is_named(line, mapping)
        ends = line.number + 1 + sum(cell.count("\n") for cell in line.cells)
    return aside_by_line


def sections(sheet: SheetTable, aside: Mapping[int, Aside], heading_of: Callable[[str], str]) -> dict[int, str]:
    """The heading above each line that is an entry. A heading reaches to the next one, to a total, and to an empty row
    unless that follows it at once; a note ends nothing.
    """
    heading_by_line, heading, fresh, ends = dict[int, str](), "", False, 0
    for line in sheet.lines:
        if line.number > ends and not fresh:
            heading = ""
        ends = line.number + 1 + sum(cell.count("\n") for cell in line.cells)
        one = aside.get(line.number)
        if one is None:
            fresh = False
            if heading:
                heading_by_line[line.number] = heading
        elif one.why != _ALONE:
            heading = heading if one.why == _AGAIN else ""
        elif words := heading_of(next(cell for cell in line.cells if cell.strip())):
            heading, fresh = words, True
    return heading_by_line


def above(sheet: SheetTable) -> dict[int, Aside]:
    """What stands above the names of the columns, by line."""
    return {
        line.number: Aside(RowStatus.SKIPPED, "It stands above the names of the columns, as a title does.")
        if sum(bool(cell.strip()) for cell in line.cells) == 1
        else Aside(
            RowStatus.NOT_TAKEN,
            "It stands above the names of the columns. If it is an entry, move it below them.",
        )
        for line in sheet.above
    }


def _is_again(cells: tuple[str, ...], names: tuple[str, ...]) -> bool:
    same = [cell == name for cell, name in zip(cells, names, strict=True) if cell]
    return len(same) > 1 and all(same)


def _names_most(cells: tuple[str, ...], names: tuple[str, ...], line: SheetRow) -> bool:
    """Whether a row names two columns again, and calls another otherwise: a table like this one begins."""
    same = sum(bool(cell) and cell == name for cell, name in zip(cells, names, strict=True))
    return same > 1 and not any(map(is_value, line.cells))


def _names_columns(line: SheetRow, known: Collection[str]) -> bool:
    filled = [cell for cell in line.cells if cell.strip()]
    score = sum(bare(cell) in known for cell in filled)
    return score > 1 and score >= len(filled) - (len(filled) > 3) and not any(map(is_value, filled))


def _names_lengths(line: SheetRow, mapping: Sequence[str]) -> bool:
    """Whether a row below an empty one begins another table: where lengths stand it has a word, and no value."""
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


def gaps(sheet: SheetTable, mapping: Sequence[str], aside: Mapping[int, Aside]) -> list[tuple[int, str]]:
    """The lines without a code and without a place that stand under one with a place, each with that place: a cell
    that was merged has its words in its first row only.
    """
    if "place" not in mapping:
        return []
    lines, place = [], ""
    for line in sheet.lines:
        if line.number in aside:
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


def filled_down(sheet: SheetTable, mapping: Sequence[str], aside: Mapping[int, Aside]) -> SheetTable:
    """The sheet with the place from above in each of its `gaps`."""
    places = dict(gaps(sheet, mapping, aside))
    at = mapping.index("place") if places else 0
    lines = (
        replace(line, cells=(*line.cells[:at], places[line.number], *line.cells[at + 1 :]))
        if line.number in places
        else line
        for line in sheet.lines
    )
    return replace(sheet, lines=tuple(lines))


def first_cell(line: SheetRow) -> str:
    """The first cell of a row that says something: what a row is called that is no entry."""
    return next((cell.strip() for cell in line.cells if cell.strip()), "")[:60]


def is_empty(line: SheetRow, mapping: Sequence[str]) -> bool:
    """Whether a row has nothing in the columns that are imported."""
    return not any(cell.strip() for cell, key in zip(line.cells, mapping, strict=True) if key)
