"""Tables as CSV (RFC 4180) for spreadsheets, and their cells back.

A spreadsheet takes a cell that begins with `=`, `+`, `-`, `@` (in some languages also as wide as an ideograph), a tab
or the end of a line for a formula (OWASP, "CSV Injection"), so such a cell gets an apostrophe in front. What already
looks as if it had got one gets another, so that reading always gives back what was written.

>>> write_csv(["code", "note"], [["7K3M9U", "=1+1"], ["9HJ4KT", None]])
"code,note\\r\\n7K3M9U,'=1+1\\r\\n9HJ4KT,\\r\\n"
>>> unguarded("'=1+1")
'=1+1'
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence

BYTE_ORDER_MARK = "\ufeff"
"""Put before a file's text, it tells a spreadsheet that this is UTF-8."""

_BEGINS = r"[=+\-@\uff1d\uff0b\uff0d\uff20\t\r\n]"
_FORMULA = re.compile(f"'*{_BEGINS}")
_GUARDED = re.compile(f"'+{_BEGINS}")


def guarded(cell: object) -> str:
    """A cell as text that no spreadsheet runs; None is an empty one."""
    text = "" if cell is None else str(cell)
    return f"'{text}" if _FORMULA.match(text) else text


def unguarded(text: str) -> str:
    """What `guarded` was given."""
    return text[1:] if _GUARDED.match(text) else text


def write_csv(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """The rows below their header, each line ended by CR LF."""
    return "".join(csv_lines([header, *rows]))


def csv_lines(rows: Iterable[Sequence[object]]) -> Iterator[str]:
    """Each row as a line, as `write_csv` writes it, one at a time."""
    for row in rows:
        written = io.StringIO(newline="")
        csv.writer(written, lineterminator="\r\n").writerow([guarded(cell) for cell in row])
        yield written.getvalue()
