"""Parsing a sheet: bytes or pasted text into a header and numbered lines. Pure.

Cells are separated by commas, semicolons, tabs or bars. The text is UTF-8, UTF-16, or else Windows-1252, which
spreadsheets write. Lines above the header are kept apart. Empty lines are skipped, and so are empty columns without a
name; a filled column without a name is a column like the others, with its number as its name. In a sheet without a row
that names the columns all columns are like that.

>>> sheet = read_sheet("Fernhollow cables;;\\n;;\\nName;Length;Where\\nlow end;10 ft;Frame 3\\n", {"name", "length"})
>>> sheet.header, sheet.lines[0]
(('Name', 'Length', 'Where'), Line(number=4, cells=('low end', '10 ft', 'Frame 3')))
"""

import base64
import binascii
import csv
import io
import re
import zlib
from collections.abc import Collection
from dataclasses import dataclass

from service.exchange.sheets.core.header import find_header, is_value
from service.kit.csvs import BYTE_ORDER_MARK, unescaped_cell
from service.kit.problems import Invalid, invalid

BYTES_MOST = 2_000_000
ROWS_MOST = 10_000
COLUMNS_MOST = 60
CELL_MOST = 2_000
_SEPARATORS = ",;\t|"
_SAID_BY_SPREADSHEET = re.compile(r"\Asep=(.)\n", re.IGNORECASE)
_OTHER_FILES = (b"<!doctype", b"<html", b"<table", b"<?xml", b"%pdf", b"{\\rtf")
_HIDDEN = dict.fromkeys((*range(9), 11, 12, *range(14, 32), 127))


@dataclass(frozen=True)
class SheetRow:
    """A row: the number of the line on which it begins, and a cell for each column."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class SheetTable:
    """A header and the rows below it. `separator` is the character between the cells.

    `numbers` has each column's number in the file, counted from 1; a column without a name has an empty one. `above`
    are the rows above the header, and `named` says whether there is a header.
    """

    header: tuple[str, ...]
    lines: tuple[SheetRow, ...]
    numbers: tuple[int, ...]
    separator: str = ","
    above: tuple[SheetRow, ...] = ()
    named: bool = True


def read_bytes(content: bytes) -> str:
    """A file's bytes as text with line ends LF.

    Raises:
        Invalid: for `file`, if it is too large or no text.
    """
    if len(content) > BYTES_MOST:
        raise _refused(
            f"This file has {len(content) / 1_000_000:.1f} MB; {BYTES_MOST // 1_000_000} MB are the most. "
            "Cut it in two, or leave columns out."
        )
    if content.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        raise _refused("This is a spreadsheet's own file. Open it there, choose “Save as” and then CSV.")
    if content[:200].lstrip(b"\xef\xbb\xbf \t\r\n").lower().startswith(_OTHER_FILES):
        raise _refused("This is a page or a document and no sheet. Open it in a spreadsheet and save it as CSV.")
    return tidy(_decoded(content))


def _decoded(content: bytes) -> str:
    try:
        if content.startswith((b"\xff\xfe", b"\xfe\xff")):
            return content.decode("utf-16")
        halves = content[0:400:2].count(0), content[1:400:2].count(0)
        if max(halves) > 2 * len(content[:400]) // 5 and min(halves) == 0:  # UTF-16 without a byte order mark
            return content.decode("utf-16-le" if halves[1] else "utf-16-be")
        if b"\0" in content:
            raise _refused("This is no text, so it cannot be a sheet. Save it as CSV.")
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        # The five bytes that Windows-1252 leaves undefined become a replacement character, which is visible.
        return content.decode("cp1252", errors="replace")


def tidy(text: str) -> str:
    """Text with line ends LF and without invisible characters.

    Raises:
        Invalid: for `file`, if it is too large.
    """
    if len(text) > BYTES_MOST:
        raise _refused(f"This has {len(text):,} characters; {BYTES_MOST:,} are the most. Cut it in two.")
    plain = text.removeprefix(BYTE_ORDER_MARK).replace("\r\n", "\n").replace("\r", "\n").translate(_HIDDEN)
    return plain.encode("utf-8", "replace").decode()


def read_sheet(text: str, known: Collection[str] = ()) -> SheetTable:
    """The sheet in a text from `read_bytes` or `tidy`; `known` are words of headers, in lower case.

    Raises:
        Invalid: for `file`, naming the line and the way out.
    """
    declared = _SAID_BY_SPREADSHEET.match(text)
    separator = declared[1] if declared and declared[1] in _SEPARATORS else _separator(text)
    lines = _lines(text, separator)
    lines = lines[1:] if declared else lines
    if not lines:
        raise _refused("There is nothing in it. A sheet has a row with the names of its columns, and rows below.")
    at = find_header([line.cells for line in lines], known)
    header, below, over = _divided(lines, at)
    if not below:
        raise _refused("There is a row with names of columns, and none below it.")
    columns = _columns(header, below)
    _refuse_large(columns, below)
    names = tuple(header[column].strip() for column in columns)
    fitted = tuple(_fitted(line, columns) for line in below)
    return SheetTable(names, fitted, tuple(column + 1 for column in columns), separator, tuple(over), at is not None)


def _divided(lines: list[SheetRow], at: int | None) -> tuple[tuple[str, ...], list[SheetRow], list[SheetRow]]:
    """The names of the columns, the rows below them and those above. The header may have two rows, with names that span
    both in the upper one; a title is alone in its row.
    """
    if at is None:
        return ("",) * max(len(line.cells) for line in lines), lines, []
    header, over = lines[at].cells, lines[:at]
    if over and sum(bool(cell.strip()) for cell in over[-1].cells) > 1 and not any(map(is_value, over[-1].cells)):
        upper = over.pop().cells
        width = max(len(header), len(upper))
        pairs = zip(_wide(header, width), _wide(upper, width), strict=True)
        header = tuple(name if name.strip() else above for name, above in pairs)
    return header, lines[at + 1 :], over


def _lines(text: str, separator: str, *, strict: bool = True) -> list[SheetRow]:
    rows, begins = [], 1
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=strict)
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append(SheetRow(begins, tuple(unescaped_cell(cell) for cell in cells)))
            begins = reader.line_num + 1
    except csv.Error as error:
        raise _refused(
            f"Line {begins}: {error}. Look for a quotation mark that is opened there and never closed."
        ) from error
    return rows


def _separator(text: str) -> str:
    """The separator: the one that gives most of the first rows the same number of columns, and the most columns."""

    begins = "\n".join(text.split("\n", 20)[:20])  # the excerpt may end inside a cell, which is no error here

    def columns(separator: str) -> tuple[int, int]:
        try:
            counts = [len(line.cells) for line in _lines(begins, separator, strict=False)]
        except Invalid:
            return 0, 0
        usual = max(counts, key=counts.count, default=0)
        return (counts.count(usual) if usual > 1 else 0), usual

    return max(_SEPARATORS, key=columns)


def _wide(cells: tuple[str, ...], width: int) -> tuple[str, ...]:
    return cells + ("",) * (width - len(cells))


def _columns(header: tuple[str, ...], below: list[SheetRow]) -> list[int]:
    """The indexes of the columns: those with a name, and those without one that are not empty."""
    columns = {at for at, name in enumerate(header) if name.strip()}
    for line in below:
        filled = {at for at, cell in enumerate(line.cells) if cell.strip()}
        if max(filled, default=0) >= len(header):
            raise _refused(
                f"Line {line.number} has {max(filled) + 1} cells, and there are {len(header)} columns. Is a separator "
                "inside a cell? Put that cell into quotation marks. Is it one more column? Give it a name."
            )
        columns |= filled
    return sorted(columns)


def _fitted(line: SheetRow, columns: list[int]) -> SheetRow:
    """A line with a cell for each column."""
    for cell in line.cells:
        if len(cell) > CELL_MOST:
            raise _refused(f"Line {line.number} has a cell of {len(cell)} characters; {CELL_MOST} are the most.")
    return SheetRow(line.number, tuple(line.cells[at] if at < len(line.cells) else "" for at in columns))


def _refuse_large(columns: list[int], lines: list[SheetRow]) -> None:
    if len(columns) > COLUMNS_MOST:
        raise _refused(f"This has {len(columns)} columns; {COLUMNS_MOST} are the most. Leave some out.")
    if len(lines) > ROWS_MOST:
        raise _refused(f"This has {len(lines):,} rows; {ROWS_MOST:,} are the most at once. Cut it in two.")


def pack(text: str) -> str:
    """A sheet's text compressed for a hidden field, which takes it from page to page, so that the server stores
    nothing.
    """
    return base64.b64encode(zlib.compress(text.encode(), 6)).decode()


def unpack(packed: str) -> str:
    """The text that `pack` was given.

    Raises:
        Invalid: for `file`, if `pack` did not make it.
    """
    try:
        unpacking = zlib.decompressobj()
        text = unpacking.decompress(base64.b64decode(packed, validate=True), 4 * BYTES_MOST)
        if not unpacking.eof:
            raise ValueError
        return tidy(text.decode())
    except (ValueError, binascii.Error, zlib.error) as error:
        raise _refused("The sheet got lost on the way. Choose the file once more.") from error


def _refused(sentence: str) -> Invalid:
    return invalid("file", sentence)
