"""What is kept of people, and for how long. Pure.

Of a student the service keeps a display name, and that only while somebody may want to ask them about a test: until
ninety days after the season in which they last helped. Then the name turns into "Tester 7"; what they logged stays,
and so do the counts. Keeping no longer than a purpose asks for, by a written rule, is what the COPPA rule of the
United States (16 CFR 312.10, as amended 2025) asks of services for children.
"""

import re
from collections.abc import Iterable
from datetime import date, timedelta

AFTER_SEASON = timedelta(days=90)
LONGEST = timedelta(days=365)
"""However long a season is said to last: a name that nobody used for a year is anonymized."""
_NAMELESS = re.compile(r"Tester (\d+)")


def anonymize_on(last_helped: date, seasons: Iterable[tuple[date, date]]) -> date:
    """The first day on which the name of a student is kept no more; `seasons` are first and last days.

    >>> kept_until(date(2026, 10, 3), [(date(2026, 8, 1), date(2026, 11, 30))])
    datetime.date(2027, 3, 1)
    """
    ends = [last for first, last in seasons if first <= last_helped <= last]
    return min(max([*ends, last_helped]) + AFTER_SEASON, last_helped + LONGEST) + timedelta(days=1)


def is_anonymous(name: str) -> bool:
    """Whether a name is one that the service gave."""
    return _NAMELESS.fullmatch(name) is not None


def next_anonymous_name(names: Iterable[str]) -> str:
    """The next "Tester n", above all that are in use."""
    numbers = [int(match[1]) for name in names if (match := _NAMELESS.fullmatch(name))]
    return f"Tester {max(numbers, default=0) + 1}"
