"""Which items on which evening, whether that is enough, and what would make it enough. Pure.

Items are taken in the order of need: the soonest due first, then the riskiest, then the longest. Each goes on the
first evening on which its pass still counts and that has room for it; what is left after that goes wherever there is
room, late but better than never. So nothing late keeps anything else from being in time.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from uuid import UUID

from service.schedule.planning.core.shares import Share, Task, fits, seconds_of, shared

HELPERS_MORE = 3
"""As many helpers more, on one evening, are worth a try."""
ROUNDED = 5
"""Minutes of a further evening are told in steps of five: nobody plans to the minute."""
LONGEST_EVENING = 180
"""Minutes. What takes longer is more than one evening."""


@dataclass(frozen=True, slots=True)
class Evening:
    """A day, how many minutes there are, and how many helpers come."""

    on: date
    minutes: int
    helpers: int


@dataclass(frozen=True, slots=True)
class Planned:
    """An evening with what each helper does, in walking order."""

    evening: Evening
    shares: tuple[Share, ...]

    @property
    def tasks(self) -> list[Task]:
        """All that is done."""
        return [task for share in self.shares for task in share]

    @property
    def seconds(self) -> int:
        """When the last helper is done."""
        return max(map(seconds_of, self.shares), default=0)


@dataclass(frozen=True)
class EveningPlan:
    """The evenings in order; `left` is what found no room, `late` what did only when its pass no longer counts."""

    evenings: tuple[Planned, ...]
    left: tuple[Task, ...]
    late: tuple[Task, ...]

    @property
    def missing(self) -> tuple[Task, ...]:
        """What is not done in time."""
        return self.left + self.late

    def missing_on(self, day: date) -> list[Task]:
        """What had to be done before that day and is not."""
        done = {task.item for each in self.evenings if each.evening.on < day for task in each.tasks}
        asked = [task for each in self.evenings for task in each.tasks] + list(self.left)
        return [task for task in asked if task.due_by is not None and task.due_by <= day and task.item not in done]


@dataclass(frozen=True, slots=True)
class MoreHelpers:
    """So many helpers more on one evening would do."""

    on: date
    helpers: int


@dataclass(frozen=True, slots=True)
class MoreTime:
    """One more evening of so many minutes with so many helpers would do, on that day at the latest (None: any)."""

    by: date | None
    minutes: int
    helpers: int


def plan(tasks: Sequence[Task], evenings: Sequence[Evening]) -> EveningPlan:
    """Tasks over evenings; every one at most once."""
    rooms = [_Room(evening) for evening in sorted(evenings, key=lambda evening: evening.on)]
    homeless = [task for task in sorted(tasks, key=_need) if not _settled(task, rooms, in_time=True)]
    left = [task for task in homeless if not _settled(task, rooms, in_time=False)]
    late = {task.item for task in homeless} - {task.item for task in left}
    return EveningPlan(
        tuple(room.planned() for room in rooms),
        tuple(left),
        tuple(task for task in homeless if task.item in late),
    )


def _need(task: Task) -> tuple[date, float, int, int, UUID]:
    return task.due_by or date.max, -task.risk, -task.seconds, task.place, task.item


class _Room:
    """What an evening has room for, while it is filled."""

    def __init__(self, evening: Evening) -> None:
        self.evening = evening
        self.tasks: list[Task] = []
        self._limit = evening.minutes * 60
        self._free = self._limit * evening.helpers
        self._refused: set[tuple[int, int]] = set()

    def take(self, task: Task) -> bool:
        """Take a task in, if the helpers still get everything done."""
        like = task.place, task.seconds
        if task.seconds > self._free or like in self._refused:
            return False
        if not fits([*self.tasks, task], self.evening.helpers, self._limit):
            self._refused.add(like)  # once one of its like had no room, none after it has
            return False
        self.tasks.append(task)
        self._free -= task.seconds
        return True

    def planned(self) -> Planned:
        """The evening as it was filled, shared among its helpers."""
        return Planned(self.evening, tuple(shared(self.tasks, self.evening.helpers, self._limit)))


def _settled(task: Task, rooms: Sequence[_Room], in_time: bool) -> bool:
    def may(day: date) -> bool:
        return task.counts_on(day) if in_time else task.opens is None or task.opens <= day

    return any(may(room.evening.on) and room.take(task) for room in rooms)


def more_helpers(tasks: Sequence[Task], evenings: Sequence[Evening], missing: Sequence[Task]) -> MoreHelpers | None:
    """The fewest helpers more, on the first evening that they help, with which nothing is `missing` any more."""
    short = seconds_of(missing)
    for more in range(1, HELPERS_MORE + 1):
        for at, evening in enumerate(evenings):
            if more * evening.minutes * 60 < short:
                continue
            fuller = replace(evening, helpers=evening.helpers + more)
            if not plan(tasks, [*evenings[:at], fuller, *evenings[at + 1 :]]).missing:
                return MoreHelpers(evening.on, more)
    return None


def more_time(missing: Sequence[Task], helpers: int) -> MoreTime | None:
    """The one more evening in which `helpers` get done what is missing; None where no single evening would do."""
    seconds = max(map(seconds_of, shared(missing, helpers)), default=0)
    minutes = -(-seconds // (60 * ROUNDED)) * ROUNDED
    by = min((task.due_by for task in missing if task.due_by), default=None)
    last = by - timedelta(days=1) if by else None
    if minutes > LONGEST_EVENING or (last and not all(task.counts_on(last) for task in missing)):
        return None
    return MoreTime(last, minutes, helpers)
