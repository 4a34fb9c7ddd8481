"""Lengths, amounts of money and chances: how people type them, how they are stored, and how they are shown.

>>> parse_length("7 ft 6 in"), parse_length("3 m")
(2286, 3000)
>>> format_length(2286, Unit.FEET), format_length(3048, Unit.METERS)
('7\\'6"', '3.048 m')
>>> parse_money("$18.50"), format_money(123456)
(1850, '$1,234.56')
"""

import re
import unicodedata
from collections.abc import Iterable
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache
from math import ceil, floor

from service.kit.problems import Invalid, invalid
from service.kit.text import plain

LONGEST_MM = 250_000
"""250 m (820 ft), more than a football field and back. A longer one has a wrong number or unit."""

_NUMBER = r"(?:(?:\d+ )?\d{1,2}/\d{1,2}|\d+(?:[.,]\d+)?|[.]\d+)"
_FRACTION_SIGN = re.compile("[\u00bc-\u00be\u2150-\u215e]")
_FEET = r"(?:ft\.?|feet|foot|')"
_INCHES = r"(?:in\.?|inch|inches|\"|'')"
_FEET_AND_INCHES = re.compile(rf"(?P<feet>\d+) ?{_FEET} ?(?P<inches>{_NUMBER}) ?{_INCHES}?")
_ONE_UNIT = re.compile(rf"(?P<number>{_NUMBER}) ?(?P<unit>[a-z]+\.?|'|\"|'')")
_BARE = re.compile(_NUMBER)
_INCH_MM = Fraction(254, 10)
_UNIT_MM = {
    **dict.fromkeys(("ft", "feet", "foot", "'"), 12 * _INCH_MM),
    **dict.fromkeys(("in", "inch", "inches", '"', "''"), _INCH_MM),
    **dict.fromkeys(("m", "meter", "meters", "metre", "metres"), Fraction(1000)),
    "cm": Fraction(10),
    "mm": Fraction(1),
}

MOST_CENTS = 10_000_000
"""100,000 dollars, more than any one piece of gear costs. A larger amount lacks its decimal point."""

_DOLLARS = re.compile(r"\$? ?(?P<dollars>\d{1,9}|\d{1,3}(?:,\d{3}){1,2})(?:\.(?P<cents>\d\d))?")

_SAME = 1e-9
"""Chances that differ by no more are equal: rounding errors may put a product of chances slightly below 0.95."""


class Unit(StrEnum):
    """The unit in which a program shows lengths. It does not affect what is stored and what may be typed."""

    FEET = "feet"
    METERS = "meters"


def parse_length(text: str) -> int:
    """Millimeters, more than 0 and at most `LONGEST_MM`, from `10 ft`, `7'6"`, `5½ ft`, `3,5 m`, `450 cm`, …

    A comma is a decimal comma unless three digits follow it, which may mean thousands and is refused.
    Raises `Invalid` for `length`.
    """
    typed = re.sub(" +", " ", _FRACTION_SIGN.sub(_spelled, plain(text))).lower().strip()
    if len(typed) > 40:
        raise _refused("A length is short, like 10 ft or 3 m; this text is too long to be one.")
    length = round(_exact(typed))
    if length < 1:
        raise _refused(f"A length must be more than nothing, and “{typed}” is not; write it like 10 ft or 3 m.")
    if length > LONGEST_MM:
        raise _refused(
            f"“{typed}” is {length // 1000} m, longer than any run on a field: {LONGEST_MM // 1000} m "
            "(820 ft) is the most, so check the number and its unit."
        )
    return length


def _exact(typed: str) -> Fraction:
    if both := _FEET_AND_INCHES.fullmatch(typed):
        inches = _number(both["inches"])
        if inches >= 12:
            raise _refused(f"In “{typed}” the inches after the feet must stay below 12.")
        return (12 * int(both["feet"]) + inches) * _INCH_MM
    one = _ONE_UNIT.fullmatch(typed)
    if one and (unit := _UNIT_MM.get(one["unit"].rstrip("."))):
        return _number(one["number"]) * unit
    if _BARE.fullmatch(typed):
        raise _refused(f"“{typed}” needs its unit: write {typed} ft or {typed} m.")
    raise _refused(f"“{typed}” is not a length; write it like 10 ft, 7'6\", 30 in, 3 m or 450 cm.")


def _spelled(sign: re.Match[str]) -> str:
    """A fraction in one character as digits: “½” is “ 1/2”."""
    return f" {unicodedata.normalize('NFKC', sign[0]).replace(chr(0x2044), '/')}"


def _number(digits: str) -> Fraction:
    if "/" in digits:
        return _fraction(digits)
    whole, comma, rest = digits.partition(",")
    if comma and len(rest) == 3 and whole.strip("0"):
        raise _refused(f"“{digits}” may mean {whole}{rest} or {whole}.{rest}; write it one of these ways.")
    return Fraction(digits.replace(",", "."))


def _fraction(digits: str) -> Fraction:
    whole, _, part = digits.rpartition(" ")
    over, under = (int(number) for number in part.split("/"))
    if not 0 < over < under:
        raise _refused(f"“{digits}” is no number with a fraction; write it like 5 1/2 or 5.5.")
    return int(whole or 0) + Fraction(over, under)


@lru_cache(maxsize=1000)
def format_length(mm: int, unit: Unit) -> str:
    """A length for people, in the fewest digits that `parse_length` reads back as the same `mm`; cached, since lists
    repeat a few.
    """
    if unit is Unit.METERS:
        return f"{_shortest(Fraction(mm, 1000), 3)} m"
    feet, inches = _feet_and_inches(mm)
    if inches == "0":
        return f"{feet} ft"
    return f"{feet}'{inches}\"" if feet else f"{inches} in"


@lru_cache(maxsize=1024)
def _feet_and_inches(mm: int) -> tuple[int, str]:
    for places in (0, 1, 2):  # a hundredth of an inch is a quarter of a millimeter, so two places are enough
        inches = round(Fraction(mm) / _INCH_MM, places)
        if round(inches * _INCH_MM) == mm:
            break
    feet, rest = divmod(inches, 12)
    return int(feet), _shortest(Fraction(rest), 2)


def _shortest(number: Fraction, places: int) -> str:
    digits = f"{float(number):.{places}f}"
    return digits.rstrip("0").rstrip(".")


def _refused(sentence: str) -> Invalid:
    return invalid("length", sentence)


def parse_money(text: str, field: str = "price") -> int:
    """Cents, from 0 to `MOST_CENTS`, from `18.50`, `$18.50`, `18` or `1,234.50`; else `Invalid`."""
    typed = plain(text)
    amount = _DOLLARS.fullmatch(typed)
    if not amount:
        raise invalid(field, f"“{typed[:40]}” is not an amount; write dollars and cents like 18.50.")
    cents = 100 * int(amount["dollars"].replace(",", "")) + int(amount["cents"] or 0)
    if cents > MOST_CENTS:
        raise invalid(field, f"{format_money(cents)} is too much for one piece; check the decimal point.")
    return cents


def format_money(cents: int) -> str:
    """An amount for people, which `parse_money` reads back as the same `cents`; a minus sign comes first."""
    dollars, rest = divmod(abs(cents), 100)
    return f"{'-' if cents < 0 else ''}${dollars:,}.{rest:02}"


def format_chance(chance: float, *beside: float, limit: float | None = None) -> str:
    """A chance or a share from 0 to 1 in percent: see `format_share`.

    >>> [format_chance(chance) for chance in (0, 0.0004, 0.004, 0.123, 0.997, 0.99996, 1)]
    ['0 %', 'under 0.1 %', '0.4 %', '12 %', '99.7 %', 'over 99.9 %', '100 %']
    >>> format_chance(0.004, 0.012), format_chance(0.012, 0.004)
    ('0.4 %', '1.2 %')
    >>> [format_chance(chance, limit=0.95) for chance in (0.9496, 0.95, 0.9501, 0.952, 0.96)]
    ['94.9 %', '95 %', '95.1 %', '95.2 %', '96 %']
    """
    return f"{format_share(chance, *beside, limit=limit)} %"


def format_share(share: float, *beside: float, limit: float | None = None, of: int = 100) -> str:
    """A share from 0 to 1 as how many of 100, or of another number: whole, or in tenths if whole numbers would mislead.

    A share and those `beside` it in the same sentence get the same precision. All are in tenths if, as a whole number,
    one would look certain without being so, equal to another that differs, or equal to the `limit` that people entered.
    Tenths are rounded down, but up if the share is above the limit.

    >>> format_share(0.0097, limit=0.01, of=1000), format_share(0.01001, limit=0.01, of=1000)
    ('9.7', '10.1')
    >>> format_share(0.4, 0.999), format_share(0.4, 0.99)
    ('40.0', '40')
    """
    if share <= 0 or share >= 1:
        return str(of) if share >= 1 else "0"
    shares = [each for each in (share, *beside) if 0 < each < 1]
    known = [share, *beside, *([] if limit is None else [limit])]
    if all(0 < round(of * each) < of and _looks_like_no_other(each, known, of) for each in shares):
        return str(round(of * share))
    if share > 1 - 1 / (10 * of):
        return f"over {of - 0.1:.1f}"
    tenths = 10 * of * share
    up = limit is not None and floor(tenths + _SAME) / (10 * of) <= limit + _SAME < share
    whole_tenths = ceil(tenths) if up else floor(tenths + _SAME)
    return f"{whole_tenths / 10:.1f}" if whole_tenths else "under 0.1"


def _looks_like_no_other(share: float, others: Iterable[float], of: int) -> bool:
    """Whether each of the other shares has another whole number, or is equal."""
    return all(abs(each - share) <= _SAME or round(of * each) != round(of * share) for each in others)
