"""Finding the row of a sheet that names its columns, if there is one: a row of gear is never taken for it. Pure."""

import re
from collections.abc import Collection, Sequence

from service.exchange.sheets.core.cells import is_length, length_in
from service.exchange.sheets.core.columns import plain_name
from service.exchange.sheets.core.connectors import wiring_in
from service.exchange.sheets.core.days import Order, read_day
from service.gear.core import USUAL_KIND
from service.kit.problems import Invalid
from service.kit.text import plain

WITHIN = 10
"""The header is one of this many first rows."""
_YEAR = re.compile(r"(?:19|20)\d\d")
_NUMBER = re.compile(r"[#$€£x]? ?\d+(?:[.,]\d+)*(?: ?(?:pcs|ea|x|awg))?")

Rows = Sequence[tuple[str, ...]]


def find_header(rows: Rows, known: Collection[str]) -> int | None:
    """The index of the row that names the columns: of the first few rows, the one with the most words of headers and no
    value. If no row has such a word, it is the first one with several cells, if only rows below it have values; else
    None.

    `known` are the words of headers, in lower case.
    """
    first = rows[:WITHIN]
    scores = [sum(plain_name(cell) in known for cell in row) for row in first]
    values = [_values(rows, at, known) for at in range(len(first))]
    named = [at for at, score in enumerate(scores) if score and _outweighs(score, values[at])]
    if named:
        return max(named, key=lambda at: (scores[at], -at))
    if not known:
        return 0
    at = next((at for at, row in enumerate(first) if sum(map(_says, row)) > 1), 0)
    below = any(is_value(cell) for row in rows[at + 1 :] for cell in row)
    return at if not values[at] and (below or len(rows) == at + 1) else None


def _outweighs(score: int, values: int) -> bool:
    return not values or (score > 3 and score > 2 * values)


def _values(rows: Rows, at: int, known: Collection[str]) -> int:
    """How many cells of a row are values rather than names: they look like values, or are repeated below."""
    row = rows[at]
    again = [  # another row that names columns is none of values
        below
        for below in rows[at + 1 : at + 1 + 5 * WITHIN]
        if tuple(below) != tuple(row)
        and (sum(plain_name(cell) in known for cell in below) < 2 or any(map(is_value, below)))
    ]
    return sum(
        _says(cell)
        and (is_value(cell) or any(place < len(below) and below[place].strip() == cell.strip() for below in again))
        for place, cell in enumerate(row)
    )


def _says(cell: str) -> bool:
    return bool(cell.strip())


def is_value(cell: str) -> bool:
    """Whether a cell is a number, a length, a date or connectors, and so not a column's name, which may be a year.

    >>> [is_value(cell) for cell in ("10 ft", "#4", "$18.50", "Oct 6, 2026", "XLR", "2024", "Length (ft)", "low end")]
    [True, True, True, True, True, False, False, False]
    """
    words = " ".join(plain(cell).lower().split())
    if not words or len(words) > 60 or _YEAR.fullmatch(words):
        return False
    if _NUMBER.fullmatch(words) or is_length(words) or length_in(words) or words in ("xlr", "trs", "db25"):
        return True
    return (bool(wiring_in(words, USUAL_KIND)) and any(map(str.isdigit, words))) or _is_day(words)


def _is_day(words: str) -> bool:
    try:
        read_day(words, Order.MONTH_FIRST)
    except Invalid:
        return False
    return True
