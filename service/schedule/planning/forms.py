"""The typed evenings of a plan: rows of day, minutes and helpers, each field with its row's number."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, TypeVar

from service.kit.dates import format_date, parse_date
from service.kit.problems import Invalid, invalid
from service.kit.text import plain
from service.schedule.planning.core.plan import Evening

Value = TypeVar("Value")

ROWS = 3
"""Rows that a form offers at the least; one is always empty, until there are as many as can be."""
ROWS_MOST = 20
AHEAD_MOST = timedelta(days=366)
FIELDS = {"on": "Day", "minutes": "Minutes", "helpers": "Helpers"}
LABELS = {
    f"{field}{number}": f"{word} of evening {number}"
    for number in range(1, ROWS_MOST + 1)
    for field, word in FIELDS.items()
}
"""The labels of the fields in a list of errors."""


@dataclass(frozen=True)
class TypedEvening:
    """A row as it was typed."""

    on: str = ""
    minutes: str = ""
    helpers: str = ""

    @property
    def filled(self) -> bool:
        """Whether anything was typed in it."""
        return any((self.on, self.minutes, self.helpers))


def typed_rows(sent: Mapping[str, Any]) -> list[TypedEvening]:
    """The rows in which anything was typed."""
    rows = [
        TypedEvening(*(plain(str(sent.get(f"{field}{number}") or ""))[:40] for field in FIELDS))
        for number in range(1, ROWS_MOST + 1)
    ]
    return [row for row in rows if row.filled]


def shown_rows(rows: Sequence[TypedEvening]) -> list[TypedEvening]:
    """The rows with empty ones to fill in."""
    return [*rows, *[TypedEvening()] * max(1, ROWS - len(rows))][:ROWS_MOST]


def read_evenings(rows: Sequence[TypedEvening], today: date) -> list[Evening]:
    """The evenings of typed rows, by day.

    Raises:
        Invalid: with a sentence for every field that is wrong.
    """
    evenings: list[Evening] = []
    errors: dict[str, str] = {}
    for number, row in enumerate(rows, 1):
        try:
            evenings.append(_evening(row, number, today, [evening.on for evening in evenings]))
        except Invalid as refusal:
            errors |= refusal.errors
    if errors:
        raise Invalid(" ".join(errors.values()), errors)
    return sorted(evenings, key=lambda evening: evening.on)


def _evening(row: TypedEvening, number: int, today: date, taken: Sequence[date]) -> Evening:
    errors: dict[str, str] = {}

    def read(value: Callable[[], Value]) -> Value | None:
        try:
            return value()
        except Invalid as refusal:
            errors.update(refusal.errors)
            return None

    on = read(lambda: _day(row.on, f"on{number}", today, taken))
    minutes = read(lambda: _number(row.minutes, f"minutes{number}", 5, 600, "minutes", "60"))
    helpers = read(lambda: _number(row.helpers, f"helpers{number}", 1, 50, "helpers", "3"))
    if on is None or minutes is None or helpers is None:
        raise Invalid(" ".join(errors.values()), errors)
    return Evening(on, minutes, helpers)


def _day(typed: str, field: str, today: date, taken: Sequence[date]) -> date:
    if not typed:
        raise invalid(field, "Enter the day.")
    on = parse_date(typed, field)
    if on < today:
        raise invalid(field, f"{format_date(on, today)} is over. Choose today or a later day.")
    if on > today + AHEAD_MOST:
        raise invalid(field, "This is more than a year ahead. Check the year.")
    if on in taken:
        raise invalid(field, f"{format_date(on, today)} stands here twice. Add the helpers up in one row.")
    return on


def _number(typed: str, field: str, least: int, most: int, what: str, like: str) -> int:
    if not typed:
        raise invalid(field, f"Enter how many {what}, like {like}.")
    if not (typed.isascii() and typed.isdigit()):
        raise invalid(field, f"“{typed[:20]}” is not a number of {what}; write it like {like}.")
    if not (len(typed) < 5 and least <= int(typed) <= most):
        raise invalid(field, f"From {least} to {most} {what}, please.")
    return int(typed)
