"""Sharing an evening's work among helpers: each keeps to a stretch of places, and the last one is done soonest.

A helper takes whole places, one after the other on the walk. A place that is too much for one is shared by several
who stay there, longest job first to whoever has least: Graham's LPT rule, never longer than 4/3 - 1/(3m)
times the best for m helpers (R. L. Graham, "Bounds on multiprocessing timing anomalies", SIAM Journal on Applied
Mathematics 17, 1969). Given how long nobody may take, walking on as far as one gets needs the fewest helpers, so the
shortest such time is found by halving. Only where an evening is too short for that, a place is cut between one helper
and the next. Pure.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from heapq import heapify, heapreplace
from itertools import groupby
from uuid import UUID


@dataclass(frozen=True, slots=True)
class Task:
    """An item to test: its place's turn in the walk, the seconds it takes, and when its pass counts.

    That is from `opens` until the day before `due_by`. `risk` is the chance that it has failed by now, 0 where
    nothing is known.
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
"""What one helper does, in walking order."""


def seconds_of(tasks: Iterable[Task]) -> int:
    """How long tasks take, one after the other."""
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


def within(tasks: Sequence[Task], limit: int, cut: bool = False) -> list[Share] | None:
    """Shares of at most `limit` seconds, with as few helpers as that takes; None where one task is longer.

    With `cut` one helper may leave a place half done, and the next begins there.
    """
    shares: list[Share] = []
    walking: list[Task] = []
    for _, here in groupby(sorted(tasks, key=lambda task: task.place), key=lambda task: task.place):
        stop = list(here)
        if seconds_of(stop) + seconds_of(walking) <= limit:
            walking += stop
            continue
        if cut:
            stop = _fill(walking, stop, limit)
        if walking:
            shares.append(tuple(walking))
        walking = []
        if seconds_of(stop) <= limit:
            walking = stop
        elif (crowd := _crowd(stop, limit)) is None:
            return None
        else:
            shares += crowd
    return [*shares, tuple(walking)] if walking else shares


def _fill(walking: list[Task], stop: Sequence[Task], limit: int) -> list[Task]:
    """Let a helper take of a place what there is time for, the longest first; what is left for the next."""
    left: list[Task] = []
    for task in sorted(stop, key=lambda task: -task.seconds):
        fits_in = task.seconds + seconds_of(walking) <= limit
        (walking if fits_in else left).append(task)
    return left


def fits(tasks: Sequence[Task], hands: int, limit: int) -> bool:
    """Whether `hands` helpers get all of it done in `limit` seconds, by whole places or with some of them cut."""
    return _fits(tasks, hands, limit, cut=False) or _fits(tasks, hands, limit, cut=True)


def shared(tasks: Sequence[Task], hands: int, limit: int | None = None) -> list[Share]:
    """All tasks among at most `hands` helpers, along the walk, so that the last one is done as soon as can be.

    Places are cut only where all would not be done within `limit` seconds otherwise.
    """
    found = _soonest(tasks, hands, cut=False)
    if limit is not None and max(map(seconds_of, found), default=0) > limit:
        found = _soonest(tasks, hands, cut=True, high=limit)
    while len(found) < hands and any(len(share) > 1 for share in found):
        longest = max((share for share in found if len(share) > 1), key=seconds_of)
        at = found.index(longest)
        found[at : at + 1] = _soonest(longest, 2, cut=False)  # it ends no sooner, but nobody stands by
    return found


def _soonest(tasks: Sequence[Task], hands: int, cut: bool, high: int | None = None) -> list[Share]:
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


def _fits(tasks: Sequence[Task], hands: int, limit: int, cut: bool) -> bool:
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
