"""The drawing of a season over time: positions on a strip that is 320 pixels wide, like a small phone.

Days run from left to right. From top to bottom: months, rounds with how much of each is done, sessions, events.
Everything in the drawing is also given in sentences, for people who cannot see it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from service.kit.dates import format_date
from service.season.core import RoundProgress
from service.season.models import Event, SeasonRow
from service.testlog.models import WorkSession

LEFT, RIGHT = 6.0, 314.0
LETTER = 6.6
"""Width of a letter on the strip in pixels, an upper bound for the narrow font at size 13."""
LANE = 20.0
"""Pixels from one line of words to the next."""
ROUNDS_AT, SESSIONS_AT, EVENTS_AT = 24.0, 74.0, 100.0
"""Where the rows begin, in pixels; the words of the rounds are in their bars."""
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True)
class Bar:
    """A round: its bar, and the width of the part that is done; `words` are empty if they do not fit."""

    x: float
    width: float
    done: float
    words: str


@dataclass(frozen=True)
class DayMark:
    """A mark on one day. `x` is the position of the day; `words` begin at `words_x` in the line at `y`."""

    x: float
    y: float
    words: str = ""
    words_x: float = 0.0
    past: bool = False


@dataclass(frozen=True)
class SeasonStrip:
    """The drawing of a season: the strip's height, its parts, and the same in sentences."""

    height: float
    months: Sequence[DayMark]
    bars: Sequence[Bar]
    sessions: Sequence[DayMark]
    events: Sequence[DayMark]
    today: float | None
    sentences: Sequence[str]


def draw(
    row: SeasonRow,
    rounds: Sequence[RoundProgress],
    events: Sequence[Event],
    sessions: Sequence[WorkSession],
    today: date,
) -> SeasonStrip:
    """Draw a season: `rounds`, `events` and `sessions` are those on its days, each in order."""
    scale = _Scale(row.starts, row.ends)
    marks = _lanes([(each.on, each.name) for each in events], scale, today)
    lowest = max((mark.y for mark in marks), default=SESSIONS_AT if sessions else ROUNDS_AT + 2 * LANE)
    return SeasonStrip(
        height=lowest + 12,
        months=_months(scale),
        bars=[_bar(each, scale) for each in rounds],
        sessions=[DayMark(scale.middle(each.on), SESSIONS_AT, past=each.closed_at is not None) for each in sessions],
        events=marks,
        today=scale.middle(today) if row.starts <= today <= row.ends else None,
        sentences=_sentences(row, rounds, events, sessions, today),
    )


@dataclass(frozen=True)
class _Scale:
    """Positions of days on the strip."""

    starts: date
    ends: date

    def edge(self, day: date) -> float:
        """Where a day begins."""
        days = (self.ends - self.starts).days + 1
        return LEFT + (RIGHT - LEFT) * (day - self.starts).days / days

    def middle(self, day: date) -> float:
        """The middle of a day."""
        return (self.edge(day) + self.edge(day + timedelta(days=1))) / 2


def _bar(each: RoundProgress, scale: _Scale) -> Bar:
    x, end = scale.edge(each.opens), scale.edge(each.last + timedelta(days=1))
    width = end - x - 2
    done = each.passed / each.required if each.required else 0
    words = (
        f"Round {each.number}: {each.passed} of {each.required}",
        f"{each.number}: {each.passed}/{each.required}",
    )
    fits = next((text for text in words if len(text) * LETTER + 8 <= width), "")
    return Bar(x + 1, width, width * done, fits)


def _months(scale: _Scale) -> list[DayMark]:
    """The first days of months, as far as there is room for their names."""
    first = scale.starts.replace(day=1)
    marks: list[DayMark] = []
    while first <= scale.ends:
        day = max(first, scale.starts)
        x = scale.edge(day)
        clear = not marks or x >= marks[-1].x + 4 * LETTER
        if clear and x + 3 * LETTER <= RIGHT + 4:
            marks.append(DayMark(x, 12, MONTHS[first.month - 1], x))
        first = (first + timedelta(days=32)).replace(day=1)
    return marks


def _lanes(named: Sequence[tuple[date, str]], scale: _Scale, today: date) -> list[DayMark]:
    """Marks with their words beside them, each in the first line in which it does not cover another."""
    taken: list[float] = []  # the position up to which each line is filled
    marks = []
    for on, name in named:
        x = scale.middle(on)
        words = name if len(name) * LETTER <= RIGHT - LEFT - 14 else name[:40].rstrip() + "…"
        width = len(words) * LETTER
        begins = x + 9 if x + 9 + width <= RIGHT else max(LEFT, x - 9 - width)
        left = min(x - 7, begins)
        lane = next((number for number, filled in enumerate(taken) if filled <= left), len(taken))
        if lane == len(taken):
            taken.append(0)
        taken[lane] = max(x + 7, begins + width) + 6
        marks.append(DayMark(x, EVENTS_AT + lane * LANE, words, begins, on < today))
    return marks


def _sentences(
    row: SeasonRow,
    rounds: Sequence[RoundProgress],
    events: Sequence[Event],
    sessions: Sequence[WorkSession],
    today: date,
) -> list[str]:
    def day(on: date) -> str:
        return format_date(on, today)

    sentences = [f"{row.name}, from {day(row.starts)} to {day(row.ends)}; today is {day(today)}."]
    sentences += [
        f"Round {each.number}, {day(each.opens)} to {day(each.last)}: {each.passed} of {each.required} passed."
        for each in rounds
    ]
    sentences += [f"{each.name}: {day(each.on)}." for each in events]
    sentences += [f"{each.title}, {'held' if each.closed_at else 'planned'}: {day(each.on)}." for each in sessions]
    return sentences
