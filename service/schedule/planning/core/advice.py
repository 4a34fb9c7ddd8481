"""What would make the evenings enough: more helpers, or more evenings. Pure.

All of it is planned again before it is told, with whatever becomes due by the evening that is told. Which day a further
evening is on matters only where an item's round opens, where a deadline passes, and beside another evening; so one day
of each such stretch stands for all of it.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise

from service.schedule.planning.core.plan import Evening, all_in_time, never_in_time, plan, too_short
from service.schedule.planning.core.shares import Task, seconds_of

HELPERS_MORE = 3
"""As many helpers more, on one evening, are worth a try."""
ROUNDED = 5
"""Minutes of a further evening are given in steps of this many."""
LONGEST_EVENING = 180
"""Minutes. What takes longer is more than one evening."""
EVENINGS_MORE = 5
"""So many further evenings of that length are tried before no advice is given."""
DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class MoreHelpers:
    """So many more helpers on one evening would be enough."""

    on: date
    helpers: int


@dataclass(frozen=True, slots=True)
class MoreTime:
    """One more evening of so many minutes with so many helpers would do, on any free day from `since` to `by`.

    `since` None: from today on. `by` None: as late as one likes.
    """

    since: date | None
    by: date | None
    minutes: int
    helpers: int


@dataclass(frozen=True)
class WaysOut:
    """What would be enough where a plan is not: `helpers`, one `evening` more, or, where that will not do, `evenings`.

    `never`: it is proven that no single evening more would do, of `LONGEST_EVENING` minutes with `hands` helpers.
    """

    hands: int
    helpers: MoreHelpers | None = None
    evening: MoreTime | None = None
    evenings: tuple[Evening, ...] = ()
    never: bool = False


def ways_out(tasks: Sequence[Task], evenings: Sequence[Evening], hands: int, today: date) -> WaysOut:
    """What would make these evenings enough. `tasks` include those that become due after the last evening."""
    helpers, evening = more_helpers(due_by_last(tasks, evenings), evenings), more_time(tasks, evenings, hands, today)
    if evening:
        return WaysOut(hands, helpers, evening)
    never = all(
        never_in_time(due_by_last(tasks, more), more)
        for more in (
            [*evenings, Evening(first, LONGEST_EVENING, hands)] for first, _ in _stretches(tasks, evenings, today)
        )
    )
    return WaysOut(hands, helpers, None, more_evenings(tasks, evenings, hands, today), never)


def due_by_last(tasks: Sequence[Task], evenings: Sequence[Evening]) -> list[Task]:
    """The tasks that can be done by the last of the evenings: without those whose round opens later."""
    last = max((evening.on for evening in evenings), default=date.max)
    return [task for task in tasks if task.opens is None or task.opens <= last]


def more_helpers(tasks: Sequence[Task], evenings: Sequence[Evening]) -> MoreHelpers | None:
    """The fewest helpers more, on the first evening that they help, with which everything is done in time."""
    for more in range(1, HELPERS_MORE + 1):
        for at, evening in enumerate(evenings):
            fuller = [*evenings[:at], replace(evening, helpers=evening.helpers + more), *evenings[at + 1 :]]
            if _enough(tasks, fuller):
                return MoreHelpers(evening.on, more)
    return None


def more_time(tasks: Sequence[Task], evenings: Sequence[Evening], hands: int, today: date) -> MoreTime | None:
    """The shortest one more evening with which everything is done in time, and the days that it may be on.

    None where none was found of at most `LONGEST_EVENING` minutes.
    """
    stretches = list(_stretches(tasks, evenings, today))

    def works(day: date, minutes: int) -> bool:
        more = [*evenings, Evening(day, minutes, hands)]
        return _enough(due_by_last(tasks, more), more)

    best: int | None = None
    for first, _ in stretches:
        high = LONGEST_EVENING if best is None else best - ROUNDED
        if high >= ROUNDED and works(first, high):
            low = ROUNDED
            while low < high:
                middle = (low + high) // (2 * ROUNDED) * ROUNDED
                low, high = (low, middle) if works(first, middle) else (middle + ROUNDED, high)
            best = high
    if best is None:
        return None
    taken = {evening.on for evening in evenings}
    runs = _runs([each for each in stretches if works(each[0], best)], taken)
    since, by = max(runs, key=lambda run: (run[1] or date.max) - run[0])
    return MoreTime(None if since == today else since, by, best, hands)


def more_evenings(tasks: Sequence[Task], evenings: Sequence[Evening], hands: int, today: date) -> tuple[Evening, ...]:
    """Further evenings of `LONGEST_EVENING` minutes, on days apart, with which everything is done in time.

    One after the other, each where it leaves least undone; () where `EVENINGS_MORE` of them were not enough.
    """
    added: list[Evening] = []
    while len(added) < EVENINGS_MORE:
        tried = []
        for first, last in _stretches(tasks, [*evenings, *added], today):
            more = [*added, Evening(last or first, LONGEST_EVENING, hands)]
            made = plan(due_by_last(tasks, [*evenings, *more]), [*evenings, *more])
            tried.append((seconds_of(made.missing), more))
        if not tried:
            return ()
        short, added = min(tried, key=lambda each: each[0])
        if not short:
            return tuple(sorted(added, key=lambda evening: evening.on))
    return ()


def _enough(tasks: Sequence[Task], evenings: Sequence[Evening]) -> bool:
    return not too_short(tasks, evenings) and all_in_time(tasks, evenings)


Stretch = tuple[date, date | None]
"""A first and a last day, both counted; None: without an end."""


def _stretches(tasks: Sequence[Task], evenings: Sequence[Evening], today: date) -> Iterator[Stretch]:
    """The days from today on that have no evening yet, in stretches on which one would do the same."""
    taken = {evening.on for evening in evenings}
    marks = {day for task in tasks for day in (task.opens, task.due_by) if day} | taken | {on + DAY for on in taken}
    days = sorted({today, *(day for day in marks if day > today)})
    for first, then in pairwise([*days, None]):
        if first is not None and first not in taken:
            yield first, then - DAY if then else None


def _runs(stretches: Sequence[Stretch], taken: Collection[date]) -> list[Stretch]:
    """Stretches put together where one follows the other, but for days that have an evening already."""
    runs: list[Stretch] = []
    for first, last in stretches:
        follows = runs[-1][1] + DAY if runs and runs[-1][1] else date.max
        while follows in taken:
            follows += DAY
        if follows == first:
            runs[-1] = runs[-1][0], last
        else:
            runs.append((first, last))
    return runs
