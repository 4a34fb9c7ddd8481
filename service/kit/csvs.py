"""Writing tables as CSV (RFC 4180) for spreadsheets, and reading their cells back.

A spreadsheet runs a cell as a formula if it begins with `=`, `+`, `-`, `@` (or their full-width forms), a tab or the
end of a line (OWASP, "CSV Injection"). So an apostrophe is put in front of such a cell, and also in front of a cell
that looks as if one had been added, so that reading always gives back what was written.

>>> write_csv(["code", "note"], [["7K3M9U", "=1+1"], ["9HJ4KT", None]])
"code,note\\r\\n7K3M9U,'=1+1\\r\\n9HJ4KT,\\r\\n"
>>> unescaped_cell("'=1+1")
'=1+1'
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence

BYTE_ORDER_MARK = "\ufeff"
"""At the start of a file, it tells a spreadsheet that the text is UTF-8."""

_BEGINS = r"[=+\-@\uff1d\uff0b\uff0d\uff20\t\r\n]"
_FORMULA = re.compile(f"'*{_BEGINS}")
_GUARDED = re.compile(f"'+{_BEGINS}")


def escaped_cell(cell: object) -> str:
    """A cell as text that no spreadsheet runs as a formula; None gives an empty cell."""
    text = "" if cell is None else str(cell)
    return f"'{text}" if _FORMULA.match(text) else text


def unescaped_cell(text: str) -> str:
    """The text that `escaped_cell` was given."""
    return text[1:] if _GUARDED.match(text) else text


def write_csv(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """The rows below their header, each line ended by CR LF."""
    return "".join(csv_lines([header, *rows]))


def csv_lines(rows: Iterable[Sequence[object]]) -> Iterator[str]:
    """The lines of `write_csv`, one at a time."""
    for row in rows:
        written = io.StringIO(newline="")
        csv.writer(written, lineterminator="\r\n").writerow([escaped_cell(cell) for cell in row])
        yield written.getvalue()
