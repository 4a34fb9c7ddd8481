"""Keyset paging: a page ends with a cursor that names its last row, never with a count of rows to skip."""

import base64
import json
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, SQLColumnExpression, tuple_

from service.kit.problems import invalid

PAGE = 50
MOST = 200
LARGEST = 2**31 - 1
"""The largest integer that a sort key can hold on both engines: a length, a turn on the walk, a row's number."""


def page_size(limit: int | None) -> int:
    """How many rows a page has: the requested number, 1 to 200, or 50 by default."""
    if limit is None:
        return PAGE
    if not 1 <= limit <= MOST:
        raise invalid("limit", f"limit is {limit}; it must lie between 1 and {MOST}.")
    return limit


def cursor(*values: Any) -> str:
    """The cursor of the row with these values of the sort key."""
    plain = [value.isoformat() if isinstance(value, date) else str(value) for value in values]
    return base64.urlsafe_b64encode(json.dumps(plain).encode()).decode().rstrip("=")


def position(after: str, *readers: type[Any]) -> list[Any]:
    """The values of the sort key in a cursor, read as the given types (str, int, UUID, date, datetime).

    Raises:
        Invalid: the text is no cursor of such a list.
    """
    try:
        plain = json.loads(base64.urlsafe_b64decode(after + "=" * (-len(after) % 4)))
        if not isinstance(plain, list) or len(plain) != len(readers):
            raise ValueError
        return [_read(value, reader) for value, reader in zip(plain, readers, strict=True)]
    except (ValueError, TypeError, RecursionError) as error:
        raise invalid("after", "after is not a cursor of this list; take it from the last page's next.") from error


def _read(value: Any, reader: type[Any]) -> Any:
    """A value as `cursor` wrote it. Values that a database would raise an error for are refused here."""
    if not isinstance(value, str) or "\0" in value:
        raise ValueError
    value.encode()  # JSON can hold half a surrogate pair, which is no text: UnicodeEncodeError is a ValueError
    read = reader.fromisoformat(value) if reader in (date, datetime) else reader(value)
    if (reader is int and abs(read) > LARGEST) or (reader is datetime and read.utcoffset() != timedelta(0)):
        raise ValueError
    return read


def beyond(
    columns: Sequence[SQLColumnExpression[Any]], values: Sequence[Any], *, down: bool = False
) -> ColumnElement[bool]:
    """The condition for rows beyond a position in the order of `columns` (all up, or all down).

    Compared as one row value, which both databases look up in an index of this order.
    """
    row, position = tuple_(*columns), tuple(values)
    return row < position if down else row > position
