"""Reading dates and times of sheets. A date with two possible readings is refused, never guessed. Pure.

>>> read_day("Oct 6, 2026"), read_day("6.10.26", Order.DAY_FIRST), read_day("2026")
(Day(on=datetime.date(2026, 10, 6), exact=True, counted=False), Day(on=datetime.date(2026, 10, 6), exact=True, \
counted=False), Day(on=datetime.date(2026, 1, 1), exact=False, counted=False))
>>> read_day("10/2026"), read_day("Oct-26")
(Day(on=datetime.date(2026, 10, 1), exact=False, counted=False), \
Day(on=datetime.date(2026, 10, 1), exact=False, counted=False))
>>> read_day("46301"), read_day("20261006").on == date(2026, 10, 6)
(Day(on=datetime.date(2026, 10, 6), exact=True, counted=True), True)
>>> order_of(["10/6/2026", "10/28/2026"]), order_of(["10/6/2026"])
(<Order.MONTH_FIRST: 'month_first'>, None)
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, time, timedelta
from enum import StrEnum

from service.kit.problems import Invalid, invalid
from service.kit.text import plain

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_YEARS = range(1970, 2100)
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})")
_NUMBERS = re.compile(r"(\d{1,2})[-/.](\d{1,2})[-/.](\d{4}|\d{2})")
_DAY_MONTH = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[ .-]+([a-z]{3,9})\.?,?[ -]+(\d{4}|\d{2})")
_MONTH_DAY = re.compile(r"([a-z]{3,9})\.? (\d{1,2})(?:st|nd|rd|th)?,? (\d{4}|\d{2})")
# A spreadsheet shows 10/2024 as "Oct-24", and a day in October as "24-Oct".
_MONTH = re.compile(r"([a-z]{3,9})(?:(?:\.?,? |[-/])(\d{4})|-(\d\d)|\.? ?'(\d\d))")
_MONTH_NUMBER = re.compile(r"(\d{1,2})[-/.](\d{4})")
_YEAR_MONTH = re.compile(r"(\d{4})[-/.](\d{1,2})")
_YEAR = re.compile(r"\d{4}")
_COMPACT = re.compile(r"(\d{4})(\d\d)(\d\d)")
_DAY_NUMBER = re.compile(r"(\d{5})(?:[.,](\d+))?")
_DAY_ZERO = date(1899, 12, 30)
"""Day 0 of dates that spreadsheets show as a number of days (ECMA-376 part 1, 18.17.4.1)."""
_WEEKDAY = re.compile(r"^(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*\.?,? ")
_TIME = re.compile(r"(\d{1,2})(?::(\d\d))?(?::(\d\d)(?:\.\d+)?)? ?([ap])?\.?(?:m\.?)?")
_WITH_TIME = re.compile(r"(.*?\d)(?:t| |, ?)+(\d{1,2}:\d\d(?::\d\d(?:\.\d+)?)? ?(?:[ap]\.?m?\.?)?)")


class Order(StrEnum):
    """Which number comes first in a date of three numbers; if the year has four digits and comes last, it is not the
    year.
    """

    MONTH_FIRST = "month_first"
    DAY_FIRST = "day_first"
    YEAR_FIRST = "year_first"


@dataclass(frozen=True)
class Day:
    """A day. It is not `exact` if the sheet has only a month or year, of which it is the first day. `counted` says that
    the sheet has the day as a spreadsheet's number.
    """

    on: date
    exact: bool = True
    counted: bool = False


class AmbiguousDate(Invalid):
    """It is unclear which number is the day and which the month."""


def read_day(text: str, order: Order | None = None, field: str = "date") -> Day:
    """The day in a cell; a time after it is ignored.

    Raises:
        Unclear: there are two possible readings, and `order` is None.
        Invalid: for `field`; the sentence says how to write it.
    """
    return read_moment(text, order, field)[0]


def read_moment(text: str, order: Order | None = None, field: str = "date") -> tuple[Day, time | None]:
    """The day in a cell and its time, if it has one, in local time.

    Raises:
        Unclear, Invalid: as `read_day`.
    """
    typed = _typed(text)
    if number := _DAY_NUMBER.fullmatch(typed):
        return _by_number(number, text, field)
    parted = _WITH_TIME.fullmatch(typed) if len(typed) <= 60 else None
    on, at = (parted[1].rstrip(" ,t"), parted[2]) if parted else (typed, "")
    try:
        return _day(_WEEKDAY.sub("", on, count=1), order), read_time(at, field) if at else None
    except AmbiguousDate:
        raise
    except ValueError as error:
        raise invalid(field, f"“{text[:40]}” is not a date; write it like 2026-10-06 or Oct 6, 2026.") from error


def _by_number(number: re.Match[str], text: str, field: str) -> tuple[Day, time | None]:
    """The day of a spreadsheet's number, and its time if the number has a fraction."""
    on = _DAY_ZERO + timedelta(days=int(number[1]))
    if on.year not in _YEARS:
        raise invalid(field, f"“{text[:40]}” is not a date; write it like 2026-10-06 or Oct 6, 2026.")
    minutes = round(float(f"0.{number[2] or 0}") * 24 * 60) % (24 * 60)
    return Day(on, counted=True), time(minutes // 60, minutes % 60) if number[2] else None


def read_time(text: str, field: str = "time") -> time:
    """A time like `7:30 pm` or `19:30`.

    Raises:
        Invalid: for `field`.
    """
    match = _TIME.fullmatch(_typed(text)[:40])
    try:
        if match is None or not (match[2] or match[4]):
            raise ValueError
        hour = int(match[1])
        if match[4]:
            if not 1 <= hour <= 12:
                raise ValueError
            hour = hour % 12 + (12 if match[4] == "p" else 0)
        return time(hour, int(match[2] or 0), int(match[3] or 0))
    except ValueError as error:
        raise invalid(field, f"“{text[:40]}” is not a time; write it like 7:30 pm or 19:30.") from error


def _typed(cell: str) -> str:
    return " ".join(plain(cell).lower().split())


def order_of(cells: Iterable[str]) -> Order | None:
    """The order of the numbers in a column's dates, inferred from all of them; None if it cannot be inferred."""
    firsts, seconds = set[int](), set[int]()
    for cell in cells:
        match = _NUMBERS.match(_WEEKDAY.sub("", _typed(cell), count=1))
        if match:
            firsts.add(int(match[1]))
            seconds.add(int(match[2]))
    if max(firsts, default=0) > 12 >= max(seconds, default=0):
        return Order.DAY_FIRST
    if max(seconds, default=0) > 12 >= max(firsts, default=0):
        return Order.MONTH_FIRST
    return None


def first_ambiguous(cells: Iterable[str]) -> str | None:
    """The first date of a column with two possible readings; None if there is none."""
    for cell in cells:
        try:
            read_day(cell)
        except AmbiguousDate:
            return " ".join(cell.split())[:40]
        except Invalid:
            continue
    return None


def _day(typed: str, order: Order | None) -> Day:
    if match := _ISO.fullmatch(typed):
        return Day(_made(int(match[1]), int(match[2]), int(match[3])))
    if match := _COMPACT.fullmatch(typed):
        return Day(_made(int(match[1]), int(match[2]), int(match[3])))
    if match := _NUMBERS.fullmatch(typed):
        return Day(_by_order(match[1], match[2], match[3], order, typed))
    if match := _DAY_MONTH.fullmatch(typed):
        return Day(_made(_year(match[3]), _month(match[2]), int(match[1])))
    if match := _MONTH_DAY.fullmatch(typed):
        return Day(_made(_year(match[3]), _month(match[1]), int(match[2])))
    if match := _MONTH.fullmatch(typed):
        return Day(_made(_year(match[2] or match[3] or match[4]), _month(match[1]), 1), exact=False)
    if match := _MONTH_NUMBER.fullmatch(typed):
        return Day(_made(int(match[2]), int(match[1]), 1), exact=False)
    if match := _YEAR_MONTH.fullmatch(typed):
        return Day(_made(int(match[1]), int(match[2]), 1), exact=False)
    if _YEAR.fullmatch(typed):
        return Day(_made(int(typed), 1, 1), exact=False)
    raise ValueError


def _by_order(one: str, two: str, three: str, order: Order | None, typed: str) -> date:
    if order is Order.YEAR_FIRST:
        if len(three) == 2:
            return _made(_year(one), int(two), int(three))
        order = None
    first, second, year = int(one), int(two), _year(three)
    if first == second:
        return _made(year, first, second)
    if order is None and first > 12:
        order = Order.DAY_FIRST
    if order is None and second > 12:
        order = Order.MONTH_FIRST
    if order is None:
        month_first, day_first = _made(year, first, second), _made(year, second, first)
        raise AmbiguousDate(
            f"“{typed}” may be {month_first:%B} {month_first.day} or {day_first:%B} {day_first.day}. "
            "Say which number comes first."
        )
    return _made(year, first, second) if order is Order.MONTH_FIRST else _made(year, second, first)


def _made(year: int, month: int, day: int) -> date:
    if year not in _YEARS:
        raise ValueError
    return date(year, month, day)


def _year(digits: str) -> int:
    year = int(digits)
    if len(digits) > 2:
        return year
    return year + (1900 if year >= 70 else 2000)


def _month(word: str) -> int:
    full = (
        "january",
        "february",
        "march",
        "april",
        "may",
        "june",
        "july",
        "august",
        "september",
        "october",
        "november",
        "december",
    )
    if not any(name.startswith(word) for name in full) and word != "sept":
        raise ValueError
    return _MONTHS.index(word[:3]) + 1
