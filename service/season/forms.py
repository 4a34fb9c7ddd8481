"""Reading what people type about seasons and events.

People name the last day of a season or a round; the rules are half-open and want the day after.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TypeVar

from starlette.datastructures import FormData

from service.kit.dates import parse_date
from service.kit.problems import Invalid, invalid
from service.kit.text import can_be_shown, plain
from service.season.core import Round, Season, split
from service.season.models import EventKind

Value = TypeVar("Value")

NAME_MOST = 60
DAYS_MOST = 400
"""The most days of a season: a year and some weeks. A longer one has a wrong day."""
ROUNDS_USUAL = 2
ROWS = 4
"""The fewest rows for own round dates in a form."""


@dataclass(frozen=True)
class SeasonEntry:
    """The values of a season's form."""

    name: str
    rule: Season


@dataclass(frozen=True)
class EventEntry:
    """The values of an event's form; `sure` confirms an event although there is one of this name on this day."""

    name: str
    kind: EventKind
    on: date
    sure: bool


def blank_season(today: date) -> dict[str, object]:
    """The values of a new season's form."""
    return {
        "name": "",
        "starts": today,
        "ends": "",
        "rounds": ROUNDS_USUAL,
        "own": own_rows([]),
        "who": "all",
    }


def shown_season(name: str, rule: Season) -> dict[str, object]:
    """The values of the form for an existing season, with the last day of each round."""
    even = len(rule.rounds) <= (rule.ends - rule.starts).days + 1
    is_even = even and rule.rounds == split(rule.starts, rule.ends, len(rule.rounds))
    own = [] if is_even else [(str(each.opens), str(last_day(each))) for each in rule.rounds]
    return {
        "name": name,
        "starts": rule.starts,
        "ends": rule.ends,
        "rounds": len(rule.rounds),
        "own": own_rows(own),
    }


def typed_season(posted: FormData) -> dict[str, object]:
    """The values of a season's form as they were sent, to show them again."""
    values: dict[str, object] = {
        name: str(posted.get(name) or "") for name in ("name", "starts", "ends", "rounds", "who")
    }
    return values | {"own": own_rows(_own(posted))}


def own_rows(own: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """The rows of own round dates, with empty ones to fill in."""
    return own + [("", "")] * max(1, ROWS - len(own))


def last_day(each: Round) -> date:
    """The last day that still counts for a round."""
    return each.closes - timedelta(days=1)


def read_copy(posted: FormData) -> tuple[str, date]:
    """The name and the first day of a season that is copied from another one.

    Raises:
        Invalid: with a sentence for each that is wrong.
    """
    errors: dict[str, str] = {}
    name = _collected(errors, lambda: read_name(posted, "season"))
    starts = _collected(errors, lambda: _read_day(posted, "starts", "the first day"))
    if name is None or starts is None:
        raise Invalid(" ".join(errors.values()), errors)
    return name, starts


def next_name(name: str, years: int) -> str:
    """The name of a season this many years later: Fall 2026 becomes Fall 2027; a name without a year is unchanged."""
    return re.sub(r"\b(19|20|21)\d\d\b", lambda year: str(int(year[0]) + years), name)


def read_season(posted: FormData) -> SeasonEntry:
    """A season from its form; own round dates have priority over the number of rounds.

    Raises:
        Invalid: with a sentence for every field that is wrong.
    """
    errors: dict[str, str] = {}
    name = _collected(errors, lambda: read_name(posted, "season"))
    starts = _collected(errors, lambda: _read_day(posted, "starts", "the first day"))
    ends = _collected(errors, lambda: _read_day(posted, "ends", "the last day"))
    if starts and ends and ends < starts:
        errors["ends"] = f"The season ends {ends}, before it starts {starts}. Change one of the two days."
    elif starts and ends and (days := (ends - starts).days + 1) > DAYS_MOST:
        errors["ends"] = (
            f"The season would run from {starts} to {ends}, which is {days:,} days; {DAYS_MOST} are the most. "
            "Change one of the two days."
        )
    rounds = None
    if starts and ends and "ends" not in errors:
        rounds = _collected(errors, lambda: _read_rounds(posted, starts, ends))
    if not (name and starts and ends and rounds) or errors:
        raise Invalid(" ".join(errors.values()), errors)
    rule = _collected(errors, lambda: Season(starts, ends, rounds))
    if rule is None:
        raise Invalid(" ".join(errors.values()), errors)
    return SeasonEntry(name, rule)


def read_event(posted: FormData) -> EventEntry:
    """An event from its form.

    Raises:
        Invalid: with a sentence for every field that is wrong.
    """
    errors: dict[str, str] = {}
    name = _collected(errors, lambda: read_name(posted, "event"))
    on = _collected(errors, lambda: _read_day(posted, "on", "its day"))
    kind = _collected(errors, lambda: _read_kind(str(posted.get("kind") or "")))
    if not (name and on and kind):
        raise Invalid(" ".join(errors.values()), errors)
    return EventEntry(name, kind, on, posted.get("sure") == event_key(posted))


def event_key(posted: Mapping[str, object]) -> str:
    """The name and day of a typed event as a key; a form that has to be confirmed sends it back."""
    return f"{posted.get('name') or ''} {posted.get('on') or ''}"


def read_name(posted: FormData, what: str) -> str:
    """The name of a season or an event, with single spaces."""
    name = " ".join(str(posted.get("name") or "").split())
    if not name or not can_be_shown(name):
        raise invalid("name", f"Name the {what}; short is best.")
    if len(name) > NAME_MOST:
        raise invalid("name", f"This name has {len(name)} characters; {NAME_MOST} are the most.")
    return name


def _read_day(posted: FormData, field: str, what: str) -> date:
    typed = str(posted.get(field) or "").strip()
    if not typed:
        raise invalid(field, f"Enter {what}.")
    return parse_date(typed, field)


def _read_kind(word: str) -> EventKind:
    if word not in list(EventKind):
        raise invalid("kind", "Choose whether it is a competition or a show.")
    return EventKind(word)


def _read_rounds(posted: FormData, starts: date, ends: date) -> tuple[Round, ...]:
    own = _own(posted)
    if not own:
        typed = plain(str(posted.get("rounds") or ""))
        if not (typed.isascii() and typed.isdigit() and len(typed) < 5):
            raise invalid("rounds", f"“{typed[:20]}” is not a number of rounds; two is usual.")
        return split(starts, ends, int(typed))
    rounds = tuple(_read_round(number, *row) for number, row in enumerate(own, 1))
    for number, each in enumerate(rounds, 1):
        if each.opens < starts or last_day(each) > ends:
            raise invalid("rounds", f"Round {number} reaches beyond the season, {starts} to {ends}.")
    return rounds


def _read_round(number: int, opens: str, last: str) -> Round:
    if not opens or not last:
        raise invalid("rounds", f"Round {number} needs both days: its first and its last.")
    first_day, final_day = parse_date(opens, "rounds"), parse_date(last, "rounds")
    if final_day < first_day:
        raise invalid("rounds", f"Round {number} ends {final_day}, before it opens {first_day}.")
    return Round(first_day, final_day + timedelta(days=1))


def _own(posted: FormData) -> list[tuple[str, str]]:
    pairs = zip(posted.getlist("opens"), posted.getlist("last"), strict=False)
    rows = [(str(opens).strip(), str(last).strip()) for opens, last in pairs]
    return [row for row in rows if any(row)]


def _collected(errors: dict[str, str], read: Callable[[], Value]) -> Value | None:
    """The result of `read`; None if it refuses, with its sentences added to `errors`."""
    try:
        return read()
    except Invalid as refusal:
        errors.update(refusal.errors)
        return None
