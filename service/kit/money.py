"""Money: typed in dollars, kept as whole cents.

>>> parse_money("$18.50"), format_money(123456)
(1850, '$1,234.56')
"""

import re

from service.kit.problems import invalid
from service.kit.typed import plain

MOST_CENTS = 10_000_000
"""100,000 dollars: more than any one piece of gear costs, so beyond it a decimal point is missing."""

_DOLLARS = re.compile(r"\$? ?(?P<dollars>\d{1,9}|\d{1,3}(?:,\d{3}){1,2})(?:\.(?P<cents>\d\d))?")


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
    """An amount to show, which `parse_money` reads back as the same `cents`; a minus goes first."""
    dollars, rest = divmod(abs(cents), 100)
    return f"{'-' if cents < 0 else ''}${dollars:,}.{rest:02}"
