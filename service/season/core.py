"""When an item must pass a test next. Pure: the day is an argument, and nothing is stored here.

Every item must pass once in each round of its season. Days are local dates and rounds half-open: a round that
closes on November 16 still counts a pass of November 15, and `due_by` is the first day too late.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from itertools import pairwise

from service.kit.problems import invalid


class What(StrEnum):
    """The kinds of entries in an item's history. A partial test proves nothing; a voided one is not in the history."""

    PASS = "pass"  # noqa: S105
    FAIL = "fail"
    PARTIAL = "partial"
    REPAIR = "repair"


class DueState(StrEnum):
    """Due states, the worst first; if an item is in several seasons, the worst one counts."""

    BLOCKED = "blocked"
    OVERDUE = "overdue"
    UNTESTED = "untested"
    DUE = "due"
    CURRENT = "current"


@dataclass(frozen=True, slots=True)
class Round:
    """The days from `opens` until the day before `closes`."""

    opens: date
    closes: date

    def __post_init__(self) -> None:
        if self.opens >= self.closes:
            raise invalid("rounds", f"The round that opens {self.opens} must close on a later day.")


@dataclass(frozen=True, slots=True)
class Season:
    """The days from `starts` to `ends`, both included, and one or more rounds, in order and without overlap."""

    starts: date
    ends: date
    rounds: tuple[Round, ...]

    def __post_init__(self) -> None:
        _check_order(self.starts, self.ends)
        if not self.rounds:
            raise invalid("rounds", "A season needs at least one round.")
        for earlier, later in pairwise(self.rounds):
            if later.opens < earlier.closes:
                raise invalid(
                    "rounds",
                    f"The round that opens {later.opens} overlaps or comes before the one that closes "
                    f"{earlier.closes}; put them in order.",
                )


@dataclass(frozen=True, slots=True)
class HistoryEntry:
    """One entry of an item's history, on a local day."""

    on: date
    what: What


@dataclass(frozen=True, slots=True)
class Due:
    """An item's due state, the first day that is too late for its pass, and the number of that round, from 0."""

    state: DueState
    due_by: date | None = None
    round: int | None = None

    @property
    def last_day(self) -> date | None:
        """The last day on which the pass still counts: the day before `due_by`."""
        return self.due_by - timedelta(days=1) if self.due_by else None


@dataclass(frozen=True, slots=True)
class RoundProgress:
    """A round, from its first to its last day (included), and how many items have to pass in it and how many have."""

    number: int
    opens: date
    last: date
    passed: int
    required: int

    def is_open(self, today: date) -> bool:
        """Whether today is in the round."""
        return self.opens <= today <= self.last


def shifted(season: Season, starts: date) -> Season:
    """The season moved to another first day; its length and the offsets of its rounds stay the same."""
    by = starts - season.starts
    rounds = tuple(Round(each.opens + by, each.closes + by) for each in season.rounds)
    return Season(starts, season.ends + by, rounds)


def a_year_later(starts: date) -> date:
    """The first day of the same season next year: 52 weeks later, so that it is the same day of the week."""
    return starts + timedelta(weeks=52)


def split(starts: date, ends: date, count: int) -> tuple[Round, ...]:
    """`count` rounds that divide the days from `starts` to `ends` (included) evenly."""
    _check_order(starts, ends)
    days = (ends - starts).days + 1
    if not 1 <= count <= days:
        raise invalid("rounds", f"A season of {days} days has from 1 to {days} rounds, not {count}.")
    edges = [starts + timedelta(days=number * days // count) for number in range(count + 1)]
    return tuple(Round(opens, closes) for opens, closes in pairwise(edges))


def due(season: Season, in_service_on: date, history: Sequence[HistoryEntry], today: date) -> Due:
    """The state on `today` of an item in service since `in_service_on`; `history` in the order it happened.

    Entries after `today` count for nothing yet.
    """
    return _due(season.rounds, in_service_on, _standing(history, today), today)


def due_in_seasons(seasons: Sequence[Season], in_service_on: date, history: Sequence[HistoryEntry], today: date) -> Due:
    """The due state of an item in several seasons: the worst state, and its earliest `due_by`.

    Without a season an item is never due, but it can be blocked or untested.
    """
    return _worst(seasons, in_service_on, _standing(history, today), today)


def due_of_lanes(
    seasons: Sequence[Season], in_service_on: date, lanes: Sequence[Sequence[HistoryEntry]], on: date
) -> Due:
    """The due state of an item on a day: every lane has to pass in each round, so its worst lane counts."""
    return worst(due_in_seasons(seasons, in_service_on, history, on) for history in lanes)


def next_change(
    seasons: Sequence[Season], in_service_on: date, history: Sequence[HistoryEntry], today: date
) -> date | None:
    """The next day on which the answer of `due_in_seasons` changes if nothing is logged; None if it never does.

    An answer stored on `today` may be used until the day before.
    """
    newest = max((entry.on for entry in history), default=today)
    standing = _standing(history, today)
    now = _worst(seasons, in_service_on, standing, today)
    days = {day for season in seasons for each in season.rounds for day in (each.opens, each.closes)}
    days |= {entry.on for entry in history}
    for day in sorted(day for day in days if day > today):
        if today < newest:  # an entry on a future day, which is possible if clocks differ
            standing = _standing(history, day)
        if _worst(seasons, in_service_on, standing, day) != now:
            return day
    return None


@dataclass(frozen=True, slots=True)
class _Standing:
    """The result of a history on a day: whether a fault or its proof is open, and the last pass."""

    blocked: bool
    last_pass: date | None


def _standing(history: Sequence[HistoryEntry], today: date) -> _Standing:
    known = [entry for entry in history if entry.on <= today]
    passes = (entry.on for entry in known if entry.what is What.PASS)
    return _Standing(open_fault(entry.what for entry in known) is not None, max(passes, default=None))


def _worst(seasons: Sequence[Season], in_service_on: date, standing: _Standing, today: date) -> Due:
    rounds = [season.rounds for season in seasons] or [()]
    return worst(_due(each, in_service_on, standing, today) for each in rounds)


def worst(answers: Iterable[Due]) -> Due:
    """The due state that is worst; of several equal ones, the one that is due first."""
    states = list(DueState)
    return min(answers, key=lambda answer: (states.index(answer.state), answer.due_by or date.max))


def _due(rounds: Sequence[Round], in_service_on: date, standing: _Standing, today: date) -> Due:
    if standing.blocked:
        return Due(DueState.BLOCKED)
    last_pass = standing.last_pass
    if last_pass is None:
        return Due(DueState.UNTESTED)
    for number, each in enumerate(rounds):
        if each.closes <= today and in_service_on < each.closes and last_pass < each.opens:
            return Due(DueState.OVERDUE, each.closes, number)
    for number, each in enumerate(rounds):
        if each.opens <= today < each.closes and last_pass < each.opens:
            return Due(DueState.DUE, each.closes, number)
    for number, each in enumerate(rounds):
        if each.opens > today:
            return Due(DueState.CURRENT, each.closes, number)
    return Due(DueState.CURRENT)


def is_ready(due: DueState, passed_on: date | None, on: date, days: int) -> bool:
    """Whether a spare can be used on a day without a further test: it passed at most `days` before, and in the current
    round.

    What is current passed in the round that runs, if one does; where none runs, only the days count.
    """
    return due is DueState.CURRENT and passed_on is not None and (on - passed_on).days <= days


def open_fault(history: Iterable[What]) -> What | None:
    """What an item waits for, given its history in order: `FAIL` if it waits for a repair, `REPAIR` if it waits for the
    pass that proves it, None if it waits for nothing.
    """
    last: What | None = None
    for what in history:
        if what in (What.FAIL, What.REPAIR):
            last = what
        elif what is What.PASS and last is What.REPAIR:
            last = None
    return last


def _check_order(starts: date, ends: date) -> None:
    if ends < starts:
        raise invalid("ends", f"The season ends {ends}, before it starts {starts}; swap the two days.")
