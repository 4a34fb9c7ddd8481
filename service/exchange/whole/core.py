"""The whole program as one JSON text: its format, and reading it row by row. Pure.

    {"coilbook": 1, "revision": "0002", "exported_at": "2026-10-06T23:30:00+00:00", "tables": {
    "program": [
    {"id": 1, "name": "Fernhollow Band Program", …}
    ],
    …
    }}

`coilbook` is the version of this format, `revision` that of the tables. Each table refers only to earlier ones; rows
are sorted by their key, and columns have the order of the tables. Ids are text, days `2026-10-06`, instants ISO 8601 in
UTC with microseconds; lengths are millimeters, money is cents. Secrets by which people sign in are never in it: see
`queries`. The same JSON with other line breaks is read as well; only one row at a time is in memory.
"""

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import StrEnum
from typing import Any, NoReturn, TextIO
from uuid import UUID

from service.kit.problems import Problem

VERSION = 1
ROW_MOST = 5_000_000
"""The most characters of one row; the largest rows, tests through a multicore, have a few thousand."""
_CHUNK = 65_536
_SPACE = " \t\r\n"


class ColumnKind(StrEnum):
    """What a column holds."""

    TEXT = "text"
    WHOLE = "a whole number"
    TRUTH = "true or false"
    ID = "an id"
    DAY = "a day like 2026-10-06"
    MOMENT = "a moment like 2026-10-06T23:30:00+00:00"
    FACTS = "facts"


@dataclass(frozen=True)
class FileRow:
    """A row of the file: its table, its number within the table, and the line on which it begins."""

    table: str
    number: int
    line: int
    values: dict[str, Any]


def write_value(value: Any) -> Any:
    """A column's value as a JSON value."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, UUID) else value


def write_row(values: Mapping[str, Any]) -> str:
    """A row as JSON, on one line and in ASCII."""
    return json.dumps({name: write_value(value) for name, value in values.items()}, allow_nan=False)


def read_value(kind: ColumnKind, value: Any) -> Any:
    """The value that `write_value` was given.

    Raises:
        ValueError: it is no value of this kind.
    """
    if value is None or kind is ColumnKind.FACTS:
        return value
    if kind is ColumnKind.TRUTH:
        if not isinstance(value, bool):
            raise ValueError
        return value
    if kind is ColumnKind.WHOLE:
        if not isinstance(value, int) or isinstance(value, bool) or abs(value) >= 2**63:
            raise ValueError
        return value
    if not isinstance(value, str) or "\0" in value:
        raise ValueError
    value.encode()  # JSON can hold half a surrogate pair, which is no text: UnicodeEncodeError is a ValueError
    return _READERS[kind](value)


def _moment(text: str) -> datetime:
    moment = datetime.fromisoformat(text)
    if moment.utcoffset() is None:
        raise ValueError
    return moment.astimezone(UTC)


_READERS: dict[ColumnKind, Callable[[str], Any]] = {
    ColumnKind.TEXT: str,
    ColumnKind.ID: UUID,
    ColumnKind.DAY: date.fromisoformat,
    ColumnKind.MOMENT: _moment,
}


class Reader:
    """Reads an export from a stream: first `head`, then `rows`."""

    def __init__(self, stream: TextIO) -> None:
        self._scan = _Scanner(stream)

    def head(self) -> dict[str, Any]:
        """The fields before the tables.

        Raises:
            Problem: this is no export, or a newer service wrote it.
        """
        scan, fields = self._scan, dict[str, Any]()
        scan.take("{", "the export's opening brace")
        while (name := scan.text("a name")) != "tables":
            scan.take(":", "a colon")
            fields[name] = scan.value()
            scan.take(",", "a comma, and then the tables")
        scan.take(":", "a colon")
        scan.take("{", "the tables")
        version = fields.get("coilbook")
        if not isinstance(version, int) or isinstance(version, bool):
            raise Problem("This is JSON, but no export of a program: it lacks “coilbook”, its version.")
        if version > VERSION:
            raise Problem(
                f"This export has version {version}, and this Coilbook reads up to {VERSION}. "
                "Bring Coilbook up to date, then import it again."
            )
        return fields

    def rows(self) -> Iterator[FileRow]:
        """Every row of every table, in the order of the file; the text after the last one is checked, too.

        Raises:
            Problem: naming the wrong line and table.
        """
        scan = self._scan
        if not scan.passed("}"):
            while True:
                table = scan.text("a table's name")
                scan.take(":", "a colon")
                scan.take("[", f"the rows of {table}")
                yield from self._rows(table)
                if not scan.passed(","):
                    break
            scan.take("}", "the end of the tables, or a comma and the next table")
        scan.take("}", "the end of the export")
        scan.end()

    def _rows(self, table: str) -> Iterator[FileRow]:
        scan = self._scan
        if scan.passed("]"):
            return
        number = 1
        while True:
            line = scan.next_line()
            values = scan.value()
            if not isinstance(values, dict):
                raise Problem(f"Line {line}, table {table}, row {number}: this is no row with names and values.")
            yield FileRow(table, number, line, values)
            if not scan.passed(","):
                break
            number += 1
        scan.take("]", f"a comma and the next row of {table}, or its end")


class _Scanner:
    """Parses JSON step by step, reading the stream in pieces."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._held = ""
        self._at = 0
        self._done = False
        self._line = 1
        self._decoder = json.JSONDecoder(parse_constant=_no_number)

    def next_line(self) -> int:
        """The line on which the next token begins."""
        self._peek()
        return self._line

    def passed(self, mark: str) -> bool:
        """Whether the next character is this mark; if so, it is skipped."""
        if self._peek() != mark:
            return False
        self._forward(self._at + 1)
        return True

    def take(self, mark: str, expected: str) -> None:
        """Skip a mark that must come next."""
        if not self.passed(mark):
            self._refuse(f"here should come {expected}")

    def text(self, expected: str) -> str:
        """The JSON string that must come next."""
        if self._peek() != '"':
            self._refuse(f"here should come {expected}")
        value = self.value()
        assert isinstance(value, str)  # noqa: S101  (a value that begins with a quote is a text)
        return value

    def value(self) -> Any:
        """The next JSON value."""
        self._peek()
        want = _CHUNK
        while True:
            try:
                value, end = self._decoder.raw_decode(self._held, self._at)
            except json.JSONDecodeError as error:
                if self._done:
                    cut = error.pos >= len(self._held.rstrip()) or error.msg.startswith("Unterminated")
                    self._refuse(f"this is not JSON: {error.msg}", error, cut=cut)
            except (ValueError, RecursionError) as error:
                self._refuse("this is not JSON that can be read", error)
            else:
                if end < len(self._held) or self._done:  # a number may continue in the next piece
                    self._forward(end)
                    return value
            if len(self._held) - self._at > ROW_MOST:
                self._refuse("this is longer than any row of a program")
            self._more(want)
            want *= 2

    def end(self) -> None:
        """Check that nothing follows."""
        if self._peek():
            self._refuse("something follows the end of the export")

    def _peek(self) -> str:
        """The next character that is not white space; empty at the end."""
        while True:
            at = self._at
            while at < len(self._held) and self._held[at] in _SPACE:
                at += 1
            self._forward(at)
            if at < len(self._held) or self._done:
                return self._held[at : at + 1]
            self._more(_CHUNK)

    def _more(self, want: int) -> None:
        piece = self._stream.read(want)
        self._done = not piece
        self._held, self._at = self._held[self._at :] + piece, 0

    def _forward(self, to: int) -> None:
        self._line += self._held.count("\n", self._at, to)
        self._at = to

    def _refuse(self, why: str, cause: Exception | None = None, *, cut: bool = False) -> NoReturn:
        ended = cut or self._at >= len(self._held)
        hint = " The file ends too early: export it again." if ended else ""
        raise Problem(f"Line {self._line}: {why}.{hint}") from cause


def _no_number(word: str) -> NoReturn:
    # Python reads NaN and Infinity as numbers; JSON (RFC 8259) forbids them.
    raise ValueError(f"{word} is no number in JSON")
