"""Reading sizes that people type from a ruler or a packet of labels, as micrometers. Pure.

>>> read_size("63,5", "width"), read_size("2 5/8 in", "width"), read_size("-1.5 mm", "right")
(63500, 66675, -1500)
"""

import re
from fractions import Fraction

from service.kit.problems import Invalid, invalid
from service.kit.text import plain

_SIZE = re.compile(
    r"(?P<sign>-?) ?(?:(?P<whole>\d{1,5}(?:[.,]\d{1,4})?)(?: (?P<part>\d{1,2}/\d{1,2}))?|(?P<alone>\d{1,2}/\d{1,2}))"
    r" ?(?P<unit>mm|in|\"|)"
)


def read_size(text: str, field: str) -> int:
    """Micrometers from `63.5`, `63,5 mm`, `2.5 in` or `2 5/8 in`; a bare number is millimeters.

    Raises:
        Invalid: it is no size.
    """
    read = _SIZE.fullmatch(plain(text).lower())
    if read is None:
        raise _refused(text, field)
    try:
        parts = [Fraction(part.replace(",", ".")) for part in (read["whole"], read["part"], read["alone"]) if part]
    except ZeroDivisionError as error:
        raise _refused(text, field) from error
    size = sum(parts) * (1000 if read["unit"] in ("", "mm") else 25_400)
    return round(-size if read["sign"] else size)


def _refused(text: str, field: str) -> Invalid:
    return invalid(field, f"“{text[:20]}” is no size; write millimeters like 63.5, or inches like 2 5/8 in.")
