"""Sharing an evening's work among helpers, each with a stretch of places, so that the last one finishes earliest.

A helper takes whole places, one after the other on the walk. A place that is too much for one is shared by several
who stay there, longest job first to whoever has least: Graham's LPT rule, never longer than 4/3 - 1/(3m)
times the best for m helpers (R. L. Graham, "Bounds on multiprocessing timing anomalies", SIAM Journal on Applied
Mathematics 17, 1969). Given how long nobody may take, walking on as far as one gets needs the fewest helpers, so the
shortest such time is found by halving. Only where an evening is too short for that, a place is cut between one helper
and the next: the longest job goes to the first who has time for it, and where that needs too many helpers, the place is
split exactly, as long as it holds few sorts of jobs. Pure.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import Enum
from functools import lru_cache
from heapq import heapify, heapreplace
from itertools import groupby, product
from math import gcd, prod
from uuid import UUID

EXACT_MOST = 256
"""A place is split exactly up to so many ways of counting its jobs: eight jobs, no two of which take alike."""


@dataclass(frozen=True, slots=True)
class Task:
    """An item to test: its place's turn in the walk, the seconds it takes, and when its pass counts.

    That is from `opens` until the day before `due_by`; an item may have one for each round. `risk` is the chance that
    it has failed by now, 0 where nothing is known.
    """

    item: UUID
    place: int
    seconds: int
    due_by: date | None = None
    opens: date | None = None
    risk: float = 0.0

    def counts_on(self, day: date) -> bool:
        """Whether a pass of that day is neither too early nor too late."""
        return (self.opens is None or self.opens <= day) and (self.due_by is None or day < self.due_by)


Share = tuple[Task, ...]
"""The tasks of one helper, in walking order."""


def seconds_of(tasks: Iterable[Task]) -> int:
    """The total time of tasks."""
    return sum(task.seconds for task in tasks)


def longest_first(tasks: Sequence[Task], hands: int) -> list[Share]:
    """Tasks at one place among `hands` helpers: the longest first, each to whoever has least so far (LPT).

    >>> [seconds_of(share) for share in longest_first([Task(UUID(int=0), 1, n) for n in (3, 3, 2, 2, 2)], 2)]
    [7, 5]
    """
    shares: list[list[Task]] = [[] for _ in range(hands)]
    loads = [(0, hand) for hand in range(hands)]
    heapify(loads)
    for task in sorted(tasks, key=lambda task: -task.seconds):
        load, hand = loads[0]
        shares[hand].append(task)
        heapreplace(loads, (load + task.seconds, hand))
    return [tuple(share) for share in shares if share]


class Cut(Enum):
    """Whether a helper may leave a place half done, so that the next begins there; and how such places are cut."""

    NEVER = "never"
    LONGEST_FIRST = "longest first"
    EXACTLY = "exactly"


def within(tasks: Sequence[Task], limit: int, cut: Cut = Cut.NEVER) -> list[Share] | None:
    """Shares of at most `limit` seconds, with as few helpers as that takes; None where one task is longer."""
    shares: list[Share] = []
    walking: list[Task] = []
    for _, here in groupby(sorted(tasks, key=lambda task: task.place), key=lambda task: task.place):
        stop = list(here)
        if seconds_of(stop) + seconds_of(walking) <= limit:
            walking += stop
            continue
        whole = cut is Cut.NEVER
        parts = (_whole(stop, limit) if whole else _parts(stop, seconds_of(walking), limit, cut)) or ()
        if not parts:
            return None
        first, *others, last = parts
        shares += [share for share in ((*walking, *first), *others) if share]
        walking = list(last)
    return [*shares, tuple(walking)] if walking else shares


def _whole(stop: Sequence[Task], limit: int) -> list[Share] | None:
    """The shares of a place by itself: for one helper, who then walks on, or for several."""
    crowd = _crowd(stop, limit)
    return crowd and ([(), *crowd] if len(crowd) == 1 else [(), *crowd, ()])


def _parts(stop: Sequence[Task], start: int, limit: int, cut: Cut) -> list[Share]:
    """A place between a helper who has `start` seconds of work already and as few others as it takes."""
    waiting: dict[int, list[Task]] = defaultdict(list)
    for task in stop:
        waiting[task.seconds].append(task)
    jobs = tuple((seconds, len(waiting[seconds])) for seconds in sorted(waiting, reverse=True))
    return [tuple(waiting[seconds].pop(0) for seconds in part) for part in split(jobs, start, limit, cut) or ()]


Jobs = tuple[tuple[int, int], ...]
"""The jobs at a place: pairs of seconds and how many jobs take so long; the longest first."""


@lru_cache(maxsize=100_000)
def split(jobs: Jobs, start: int, limit: int, cut: Cut = Cut.EXACTLY) -> tuple[tuple[int, ...], ...] | None:
    """The jobs of a place among helpers, none of whom takes over `limit` seconds; None where one job is longer.

    The first one has `start` seconds of work already. There are as few as can be, and the last of them has as little
    as can be: the next place is begun with what is left. Exact by dynamic programming over how many of each sort are
    done, where there are few such counts (a set that takes fewer helpers, or leaves the last one less, is always the
    better one to go on from); else the longest goes first to the first helper who has room.

    >>> split(((180, 2), (120, 3)), 0, 360)
    ((120, 120, 120), (180, 180))
    """
    if jobs[0][0] > limit:
        return None
    if cut is Cut.LONGEST_FIRST or prod(count + 1 for _, count in jobs) > EXACT_MOST:
        return _first_fit(jobs, start, limit)
    best: dict[tuple[int, ...], tuple[int, int]] = {(0,) * len(jobs): (0, start)}
    last: dict[tuple[int, ...], int] = {}
    for done in product(*(range(count + 1) for _, count in jobs)):
        for at, (seconds, _) in enumerate(jobs):
            if done[at]:
                helper, load = best[_without(done, at)]
                reached = (helper, load + seconds) if load + seconds <= limit else (helper + 1, seconds)
                if done not in best or reached < best[done]:
                    best[done], last[done] = reached, at
    done = tuple(count for _, count in jobs)
    parts: list[list[int]] = [[] for _ in range(best[done][0] + 1)]
    while any(done):
        parts[best[done][0]].append(jobs[last[done]][0])
        done = _without(done, last[done])
    return tuple(map(tuple, parts)) if len(parts) > 1 else (tuple(parts[0]), ())


def _without(done: tuple[int, ...], at: int) -> tuple[int, ...]:
    return (*done[:at], done[at] - 1, *done[at + 1 :])


def _first_fit(jobs: Jobs, start: int, limit: int) -> tuple[tuple[int, ...], ...]:
    parts: list[list[int]] = [[], []]
    loads = [start, 0]
    for seconds in (seconds for seconds, count in jobs for _ in range(count)):
        at = next((at for at, load in enumerate(loads) if load + seconds <= limit), len(loads))
        if at == len(loads):
            parts.append([])
            loads.append(0)
        parts[at].append(seconds)
        loads[at] += seconds
    return tuple(map(tuple, parts))


Stops = Mapping[int, Mapping[int, int]]
"""The jobs by place: how many take how many seconds."""


def enough_helpers(stops: Stops, limit: int, hands: int) -> bool:
    """Whether so many helpers get all of it done in `limit` seconds, by whole places or with some of them cut."""
    step = gcd(*(seconds for stop in stops.values() for seconds in stop))
    seconds = sum(each * count for stop in stops.values() for each, count in stop.items())
    if step and seconds > limit // step * step * hands:
        return False
    return any(_enough(stops, limit, hands, cut) for cut in (Cut.LONGEST_FIRST, Cut.EXACTLY))


def _enough(stops: Stops, limit: int, hands: int, cut: Cut) -> bool:
    helpers, load = 1, 0
    for place in sorted(stops):
        seconds = sum(each * count for each, count in stops[place].items())
        if load + seconds <= limit:
            load += seconds
            continue
        parts = split(tuple(sorted(stops[place].items(), reverse=True)), load, limit, cut)
        if parts is None:
            return False
        helpers += len(parts) - 1
        load = sum(parts[-1])
        if helpers > hands:
            return False
    return True


def shared(tasks: Sequence[Task], hands: int, limit: int | None = None) -> list[Share]:
    """All tasks among at most `hands` helpers, along the walk, so that the last one is done as soon as can be.

    Places are cut only where all would not be done within `limit` seconds otherwise.
    """
    shares = _soonest(tasks, hands, Cut.NEVER)
    for cut in (Cut.LONGEST_FIRST, Cut.EXACTLY):
        if limit is not None and max(map(seconds_of, shares), default=0) > limit:
            shares = _soonest(tasks, hands, cut, limit) if _fits(tasks, hands, limit, cut) else shares
    while len(shares) < hands and any(len(share) > 1 for share in shares):
        longest = max((share for share in shares if len(share) > 1), key=seconds_of)
        at = shares.index(longest)
        shares[at : at + 1] = _soonest(longest, 2, Cut.NEVER)  # it ends no sooner, but nobody stands by
    return shares


def _soonest(tasks: Sequence[Task], hands: int, cut: Cut, high: int | None = None) -> list[Share]:
    """The shares of the shortest time that is enough; `high` is one that is known to be."""
    if not tasks:
        return []
    low = max(max(task.seconds for task in tasks), -(-seconds_of(tasks) // hands))
    high = seconds_of(tasks) if high is None else high
    while low < high:
        middle = (low + high) // 2
        if _fits(tasks, hands, middle, cut):
            high = middle
        else:
            low = middle + 1
    return within(tasks, high, cut) or []


def _fits(tasks: Sequence[Task], hands: int, limit: int, cut: Cut) -> bool:
    shares = within(tasks, limit, cut)
    return shares is not None and len(shares) <= hands


def _crowd(tasks: Sequence[Task], limit: int) -> list[Share] | None:
    """The tasks of one place among as few helpers as it takes by the LPT rule."""
    if max(task.seconds for task in tasks) > limit:
        return None
    hands = -(-seconds_of(tasks) // limit)
    while max(map(seconds_of, crowd := longest_first(tasks, hands))) > limit:
        hands += 1
    return crowd
