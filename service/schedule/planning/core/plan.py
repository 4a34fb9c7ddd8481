"""Which items on which evening, and whether that is enough. Pure.

Items are taken in the order of need: the soonest due first, then the riskiest, then the longest. Each goes on the
first evening on which its pass still counts and that has room for it; what is left after that goes wherever there is
room, late but better than never. So nothing late keeps anything else from being in time.

Where that leaves something out, the order of need may be to blame: the longest first may pack better, and a few items
are tried in every way there is (`_searched`). Packing is hard, so of many items none of that proves that the evenings
are too short; `too_short` does, by counting seconds.
"""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import product
from math import gcd
from uuid import UUID

from service.schedule.planning.core.shares import Share, Task, enough_helpers, seconds_of, shared

SEARCHED_MOST = 10
"""So many items that need a test in time are few enough to try every way of spreading them."""
STEPS_MOST = 20_000
"""How often that search places an item before it gives up."""


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
        """All tasks of the evening."""
        return [task for share in self.shares for task in share]

    @property
    def seconds(self) -> int:
        """The time at which the last helper is done."""
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
        done = {task for each in self.evenings if each.evening.on < day for task in each.tasks}
        every = [task for each in self.evenings for task in each.tasks] + list(self.left)
        return [task for task in every if task.due_by is not None and task.due_by <= day and task not in done]


def plan(tasks: Sequence[Task], evenings: Sequence[Evening]) -> EveningPlan:
    """Tasks over evenings; every one at most once."""
    in_order = sorted(evenings, key=lambda evening: evening.on)
    rooms, homeless = _spread(tasks, in_order)
    left = [task for task in homeless if not any(_open(task, room) and room.take(task) for room in rooms)]
    late = set(homeless) - set(left)
    return EveningPlan(
        tuple(room.planned() for room in rooms),
        tuple(left),
        tuple(task for task in homeless if task in late),
    )


def all_in_time(tasks: Sequence[Task], evenings: Sequence[Evening]) -> bool:
    """Whether `plan` gets everything done in time."""
    return not _spread(tasks, sorted(evenings, key=lambda evening: evening.on))[1]


def never_in_time(tasks: Sequence[Task], evenings: Sequence[Evening]) -> bool:
    """Whether it is proven that no plan gets everything done in time; False says nothing."""
    if too_short(tasks, evenings):
        return True
    return len(tasks) <= SEARCHED_MOST and _searched(tasks, sorted(evenings, key=lambda each: each.on)) == ()


def too_short(tasks: Sequence[Task], evenings: Sequence[Evening]) -> bool:
    """Whether, between some opening and some deadline, there is more to do than the helpers there have seconds for.

    Jobs that all take a multiple of some time fill a helper's evening only up to such a multiple.
    """
    sorts = Counter((task.opens or date.min, task.due_by or date.max, task.seconds) for task in tasks)
    if any(all(each.minutes * 60 < seconds or not a <= each.on < b for each in evenings) for a, b, seconds in sorts):
        return True
    for first, until in product({a for a, _, _ in sorts}, {b for _, b, _ in sorts}):
        inside = {(b, a, s): count for (a, b, s), count in sorts.items() if first <= a and b <= until}
        step = gcd(*(seconds for _, _, seconds in inside))
        there = (
            sum(each.minutes * 60 // step * step * each.helpers for each in evenings if first <= each.on < until)
            if step
            else 0
        )
        if sum(seconds * count for (_, _, seconds), count in inside.items()) > there:
            return True
    return False


def _spread(tasks: Sequence[Task], evenings: Sequence[Evening]) -> tuple[list["_Room"], list[Task]]:
    """Rooms filled with what is done in time, and what is not: by need, unless another way leaves nothing out."""
    rooms, homeless = _filled(sorted(tasks, key=_need), evenings)
    if not homeless or too_short(tasks, evenings):
        return rooms, homeless
    for order in (_longest_when_due, _longest):
        others, left = _filled(sorted(tasks, key=order), evenings)
        if not left:
            return others, left
    if len(tasks) <= SEARCHED_MOST and (filled := _searched(tasks, evenings)):
        return list(filled), []
    return rooms, homeless


def _filled(tasks: Sequence[Task], evenings: Sequence[Evening]) -> tuple[list["_Room"], list[Task]]:
    """Each task on the first evening that has room for it when its pass counts; and those that found none."""
    rooms = [_Room(evening) for evening in evenings]
    return rooms, [
        task for task in tasks if not any(task.counts_on(room.evening.on) and room.take(task) for room in rooms)
    ]


def _need(task: Task) -> tuple[date, float, int, int, UUID]:
    return task.due_by or date.max, -task.risk, -task.seconds, task.place, task.item


def _longest_when_due(task: Task) -> tuple[date, int, float, int, UUID]:
    return task.due_by or date.max, -task.seconds, -task.risk, task.place, task.item


def _longest(task: Task) -> tuple[int, date, float, int, UUID]:
    return -task.seconds, task.due_by or date.max, -task.risk, task.place, task.item


def _open(task: Task, room: "_Room") -> bool:
    return task.opens is None or task.opens <= room.evening.on


def _searched(tasks: Sequence[Task], evenings: Sequence[Evening]) -> tuple["_Room", ...] | None:
    """Rooms in which every task is done in time, by trying all ways; () where there is no way, None where it gave up.

    What is alike is tried in one order only.
    """
    rooms = tuple(_Room(evening) for evening in evenings)
    waiting = sorted(tasks, key=lambda task: (*_alike(task), task.item))
    steps = 0

    def placed(at: int, first: int) -> bool:
        nonlocal steps
        if at == len(waiting):
            return True
        task = waiting[at]
        for number in range(first, len(rooms)):
            if steps >= STEPS_MOST:
                return False
            steps += 1
            if task.counts_on(rooms[number].evening.on) and rooms[number].take(task, remember=False):
                follows = at + 1 < len(waiting) and _alike(waiting[at + 1]) == _alike(task)
                if placed(at + 1, number if follows else 0):
                    return True
                rooms[number].give_back(task)
        return False

    if placed(0, 0):
        return rooms
    return None if steps >= STEPS_MOST else ()


def _alike(task: Task) -> tuple[int, int, date, date]:
    return -task.seconds, task.place, task.due_by or date.max, task.opens or date.min


class _Room:
    """What an evening has room for, while it is filled."""

    def __init__(self, evening: Evening) -> None:
        self.evening = evening
        self._tasks: list[Task] = []
        self._limit = evening.minutes * 60
        self._free = self._limit * evening.helpers
        self._longest = 0
        self._stops: dict[int, Counter[int]] = defaultdict(Counter)
        self._refused: set[tuple[int, int]] = set()

    def take(self, task: Task, remember: bool = True) -> bool:
        """Take a task in, if the helpers still get everything done.

        What is refused once is refused from then on, as long as nothing is given back: so it need not be asked again.
        """
        like = task.place, task.seconds
        if task.seconds > self._free or like in self._refused:
            return False
        self._add(task, 1)
        self._longest = max(self._longest, task.seconds)
        # Whoever has no time for a job has less left than it takes: with more left than that, nobody need be asked.
        roomy = self._free >= self._longest * self.evening.helpers
        if not roomy and not enough_helpers(self._stops, self._limit, self.evening.helpers):
            self._add(task, -1)
            if remember:
                self._refused.add(like)
            return False
        self._tasks.append(task)
        return True

    def give_back(self, task: Task) -> None:
        """Let a task go again."""
        self._tasks.remove(task)
        self._add(task, -1)

    def _add(self, task: Task, count: int) -> None:
        stop = self._stops[task.place]
        stop[task.seconds] += count
        self._free -= count * task.seconds
        if not stop[task.seconds]:
            del stop[task.seconds]
        if not stop:
            del self._stops[task.place]

    def planned(self) -> Planned:
        """The evening as it was filled, shared among its helpers."""
        return Planned(self.evening, tuple(shared(self._tasks, self.evening.helpers, self._limit)))
