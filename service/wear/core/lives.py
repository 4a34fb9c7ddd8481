"""Lives: what tests tell about when an item failed, in exposure days since it was new or last repaired.

A life starts when the item is new in service, or repaired, and is measured in exposure days: the days of its seasons
that it spent in service. Days as a spare, quarantined, in repair or lost do not count, for nobody plugs it in. A test
comes in the evening, so its own day counts, and what a day changes counts from the next.

Tests tell no more than between which two of them an item failed: it was good at its last pass, and bad at the test
that failed. One that has not failed was good at its last pass, and after that nothing is known. What is voided is not
in the history; what is partial, or failed together with others, proves nothing here. A failure without any day of use
since the life began says nothing about use, and ends the life. A repair of what had not failed renews it.

In service from September 1, in a season of September and October: passed on September 30 and failed on October 10 is
(30, 40]. Repaired on October 12 and passed on October 31 is good at 19.
"""

from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import accumulate

from service.gear.core import ItemState
from service.kit.problems import invalid
from service.season.core import HistoryEntry, What


@dataclass(frozen=True, slots=True)
class Life:
    """`count` items that failed after `lower` and not after `upper`, or at that moment where both are equal.

    `upper` is None for those still good at `lower`. Times are exposure days.
    """

    lower: float
    upper: float | None
    count: int = 1

    def __post_init__(self) -> None:
        shown = f"[{self.lower:g}, {'null' if self.upper is None else f'{self.upper:g}'}]"
        if self.lower < 0:
            raise invalid("lives", f"The life {shown} starts before 0; times count from new.")
        if self.upper is not None and self.upper < self.lower:
            raise invalid("lives", f"The life {shown} ends before it starts; swap the two.")
        if self.upper == 0:
            raise invalid("lives", f"The life {shown} failed before any use; its first test is the upper bound.")
        if self.count < 1:
            raise invalid("lives", f"The life {shown} counts {self.count} items; give 1 or more.")


def aggregated(lives: Iterable[Life]) -> list[Life]:
    """The same lives with equal ones counted together: tests come on few days, so few differ."""
    counts: Counter[tuple[float, float | None]] = Counter()
    for life in lives:
        counts[life.lower, life.upper] += life.count
    return [Life(lower, upper, count) for (lower, upper), count in counts.items()]


DAY = timedelta(days=1)

Stretch = tuple[date, date]
"""The days from the first until the day before the second."""


def in_service(since: date, changes: Sequence[tuple[date, ItemState]]) -> list[Stretch]:
    """When an item was in service; `changes` of its state in the order they happened.

    What it was first, it was `since`, whenever that was entered; a change counts from the next day.
    """
    steps = [(on + DAY if number else since, state) for number, (on, state) in enumerate(changes)]
    ends = [on for on, _ in steps[1:]] + [date.max]
    spans = [(max(begin, since), end, state) for (begin, state), end in zip(steps, ends, strict=False)]
    return [(begin, end) for begin, end, state in spans if state is ItemState.IN_SERVICE and begin < end]


def merged(stretches: Iterable[Stretch]) -> list[Stretch]:
    """The same days as stretches that do not overlap, in order."""
    found: list[Stretch] = []
    for begin, end in sorted(stretches):
        if found and begin <= found[-1][1]:
            found[-1] = found[-1][0], max(end, found[-1][1])
        else:
            found.append((begin, end))
    return found


def exposed(seasons: Sequence[Stretch], service: Sequence[Stretch]) -> list[Stretch]:
    """The days of season in service; both without overlaps."""
    both = ((max(a, c), min(b, d)) for a, b in seasons for c, d in service)
    return sorted((begin, end) for begin, end in both if begin < end)


def days_until(stretches: Sequence[Stretch]) -> Callable[[date], int]:
    """How many of their days there were up to a day, that day included; they are in order, without overlaps.

    Summed once for all days that are asked: an item that was lent out often has many stretches, and many tests.
    """
    begins = [begin for begin, _ in stretches]
    sums = list(accumulate(((end - begin).days for begin, end in stretches), initial=0))

    def until(day: date) -> int:
        begun = bisect_right(begins, day)
        return min(sums[begun], sums[begun - 1] + (day - begins[begun - 1]).days + 1) if begun else 0

    return until


@dataclass(frozen=True, slots=True)
class Lived:
    """What tests tell of an item: its lives, those left out of which none tells anything, and of the life it is in how
    old the item was when it began, and how old that life was at its last pass; None once it has failed.
    """

    lives: tuple[Life, ...]
    current: tuple[int, int] | None


def lived(history: Iterable[HistoryEntry], exposure: Sequence[Stretch], *, came_good: bool = True) -> Lived:
    """The lives of an item with this history, in the order it happened, over its exposed days.

    Without `came_good` nobody knows whether the item was good when it came, nor how old it was: then one that fails
    before it ever passed may have come so, and says nothing.
    """
    found: list[Life] = []
    born, good, failed, told = 0, 0, False, came_good
    until = days_until(exposure)
    for entry in history:
        age = until(entry.on) - born
        if entry.what is What.REPAIR:
            if good and not failed:
                found.append(Life(good, None))
            born, good, failed, told = born + age, 0, False, True
        elif entry.what is What.PASS and not failed:
            good, told = age, True
        elif entry.what is What.FAIL and not failed:
            if age and told:
                found.append(Life(good, age))
            failed = True
    if good and not failed:
        found.append(Life(good, None))
    return Lived(tuple(found), None if failed else (born, good))


def ages(life: tuple[int, int], exposure: Sequence[Stretch], *days: date) -> tuple[int, ...]:
    """How old an item is in the life it is in (`Lived.current`): at its last pass, and on each of these days."""
    born, good = life
    until = days_until(exposure)
    return good, *(max(good, until(day) - born) for day in days)
