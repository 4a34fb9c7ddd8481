"""Lives: what tests show about when an item failed, in exposure days since it was new or last repaired.

A life starts when the item is new in service, or repaired, and is measured in exposure days: the days of its seasons
that it spent in service. Days as a spare, quarantined, in repair or lost do not count, because nobody plugs it in. A
test is done in the evening, so its own day counts; a change of state counts from the next day.

Tests are interval-censored data: an item failed somewhere between its last pass and the test that failed. An item that
has not failed was good at its last pass; after that nothing is known. Voided tests are not in the history; partial
tests, and failures together with other items, prove nothing here. A failure with no day of use since the life began
says nothing about wear and only ends the life. A repair of an item that had not failed renews it.

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
    """The lives with equal ones merged into one with a `count`: tests are done on few days, so few lives differ."""
    counts: Counter[tuple[float, float | None]] = Counter()
    for life in lives:
        counts[life.lower, life.upper] += life.count
    return [Life(lower, upper, count) for (lower, upper), count in counts.items()]


DAY = timedelta(days=1)

Stretch = tuple[date, date]
"""Days, half-open: the first included, the second not."""


def in_service(since: date, changes: Sequence[tuple[date, ItemState]]) -> list[Stretch]:
    """When an item was in service; `changes` of its state are in time order.

    The first state holds from `since` on, whenever it was entered; a later change counts from the next day.
    """
    steps = [(on + DAY if number else since, state) for number, (on, state) in enumerate(changes)]
    ends = [on for on, _ in steps[1:]] + [date.max]
    spans = [(max(begin, since), end, state) for (begin, state), end in zip(steps, ends, strict=False)]
    return [(begin, end) for begin, end, state in spans if state is ItemState.IN_SERVICE and begin < end]


def merged(stretches: Iterable[Stretch]) -> list[Stretch]:
    """The same days as stretches in order that do not overlap."""
    disjoint: list[Stretch] = []
    for begin, end in sorted(stretches):
        if disjoint and begin <= disjoint[-1][1]:
            disjoint[-1] = disjoint[-1][0], max(end, disjoint[-1][1])
        else:
            disjoint.append((begin, end))
    return disjoint


def exposed(seasons: Sequence[Stretch], service: Sequence[Stretch]) -> list[Stretch]:
    """The exposure days: days of season spent in service. Neither argument may have overlaps."""
    both = ((max(a, c), min(b, d)) for a, b in seasons for c, d in service)
    return sorted((begin, end) for begin, end in both if begin < end)


def days_until(stretches: Sequence[Stretch]) -> Callable[[date], int]:
    """A function that counts the days of `stretches` up to a day, that day included.

    The stretches are in order and do not overlap. Their sums are made once for all days that are counted: an item that
    often changed its state has many stretches, and many tests.
    """
    begins = [begin for begin, _ in stretches]
    sums = list(accumulate(((end - begin).days for begin, end in stretches), initial=0))

    def until(day: date) -> int:
        begun = bisect_right(begins, day)
        return min(sums[begun], sums[begun - 1] + (day - begins[begun - 1]).days + 1) if begun else 0

    return until


@dataclass(frozen=True, slots=True)
class ItemLives:
    """What tests show about an item: its `lives`, without those of which no test says anything.

    `current` is its current life: the item's age when that life began, and the life's age at its last pass; None once
    it has failed. Ages are exposure days.
    """

    lives: tuple[Life, ...]
    current: tuple[int, int] | None


def item_lives(history: Iterable[HistoryEntry], exposure: Sequence[Stretch], *, came_good: bool = True) -> ItemLives:
    """The lives of an item with this history, in time order, over its exposure days.

    Without `came_good` it is unknown whether the item was good when it came, and how old it was: a failure before its
    first pass then says nothing, as it may have been bad from the start.
    """
    lives: list[Life] = []
    born, good, failed, known = 0, 0, False, came_good
    until = days_until(exposure)
    for entry in history:
        age = until(entry.on) - born
        if entry.what is What.REPAIR:
            if good and not failed:
                lives.append(Life(good, None))
            born, good, failed, known = born + age, 0, False, True
        elif entry.what is What.PASS and not failed:
            good, known = age, True
        elif entry.what is What.FAIL and not failed:
            if age and known:
                lives.append(Life(good, age))
            failed = True
    if good and not failed:
        lives.append(Life(good, None))
    return ItemLives(tuple(lives), None if failed else (born, good))


def ages(life: tuple[int, int], exposure: Sequence[Stretch], *days: date) -> tuple[int, ...]:
    """The age of an item in its current life (`ItemLives.current`), at its last pass and on each of these days."""
    born, good = life
    until = days_until(exposure)
    return good, *(max(good, until(day) - born) for day in days)
