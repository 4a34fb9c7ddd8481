"""The ways out of a plan that is not enough, on 1,000 small programs, against every way that there is."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from itertools import combinations
from random import Random
from uuid import UUID

import pytest

from service.schedule.planning.core.advice import (
    HELPERS_MORE,
    LONGEST_EVENING,
    ROUNDED,
    MoreHelpers,
    MoreTime,
    due_by_last,
    ways_out,
)
from service.schedule.planning.core.plan import Evening, never_in_time, plan
from service.schedule.planning.core.shares import Task

TODAY = date(2026, 10, 5)
DAYS = 9


def day(number: int) -> date:
    return TODAY + timedelta(number)


def task(number: int, place: int = 1, minutes: int = 2, due: int | None = 30, opens: int | None = None) -> Task:
    return Task(
        UUID(int=number),
        place,
        minutes * 60,
        None if due is None else day(due),
        None if opens is None else day(opens),
    )


Jobs = tuple[tuple[int, int], ...]
"""(place, seconds) of what is done on an evening, in order."""


@cache
def shareable(jobs: Jobs, hands: int, limit: int) -> bool:
    """Every way of giving the next helper some jobs, as long as nobody after them goes to an earlier place."""
    if not jobs or not hands:
        return not jobs
    for count in range(len(jobs), 0, -1):
        for mine in combinations(jobs, count):
            rest = list(jobs)
            for job in mine:
                rest.remove(job)
            in_walk = not rest or mine[-1][0] <= rest[0][0]
            if in_walk and sum(job[1] for job in mine) <= limit and shareable(tuple(rest), hands - 1, limit):
                return True
    return False


def possible(tasks: Sequence[Task], evenings: Sequence[Evening]) -> bool:
    """Whether any way of spreading the tasks over the evenings has all of them in time."""

    def placed(at: int, rooms: list[Jobs]) -> bool:
        if at == len(tasks):
            return True
        for number, evening in enumerate(evenings):
            more = tuple(sorted([*rooms[number], (tasks[at].place, tasks[at].seconds)]))
            room = tasks[at].counts_on(evening.on) and shareable(more, evening.helpers, evening.minutes * 60)
            if room and placed(at + 1, [*rooms[:number], more, *rooms[number + 1 :]]):
                return True
        return False

    return placed(0, [()] * len(evenings))


def small_program(random: Random) -> tuple[list[Task], list[Evening]]:
    """Up to six long jobs at three places, some of whose rounds open later, and up to three evenings."""
    tasks = []
    for number in range(random.randint(1, 6)):
        opens = random.choice((None, None, None, random.randint(1, 6)))
        due = random.choice((None, (opens or 0) + random.randint(1, 6)))
        tasks.append(task(number, random.randint(1, 3), random.choice((25, 40, 55, 55, 70, 100)), due, opens))
    days = random.sample(range(DAYS), random.randint(1, 3))
    return tasks, [Evening(day(on), random.choice((45, 60, 90, 110, 150)), random.randint(1, 2)) for on in sorted(days)]


def possible_with(tasks: Sequence[Task], evenings: Sequence[Evening], one: Evening) -> bool:
    more = [*evenings, one]
    return possible(due_by_last(tasks, more), more)


def check_evening(tasks: Sequence[Task], evenings: Sequence[Evening], told: MoreTime | None, hands: int) -> None:
    free = [on for on in map(day, range(DAYS + 8)) if on not in {evening.on for evening in evenings}]
    if told is None:
        assert not any(possible_with(tasks, evenings, Evening(on, LONGEST_EVENING, hands)) for on in free)
        return
    since, by = told.since or TODAY, told.by or day(DAYS + 7)
    one = Evening(since, told.minutes, told.helpers)
    for on in free:
        if since <= on <= by:
            more = [*evenings, replace(one, on=on)]
            assert not plan(due_by_last(tasks, more), more).missing
            assert possible(due_by_last(tasks, more), more)
        elif on in (since - timedelta(1), by + timedelta(1)):
            assert not possible_with(tasks, evenings, replace(one, on=on))
        if told.minutes > ROUNDED:
            assert not possible_with(tasks, evenings, Evening(on, told.minutes - ROUNDED, told.helpers))


def check_helpers(tasks: Sequence[Task], evenings: Sequence[Evening], told: MoreHelpers | None) -> None:
    ways = [
        MoreHelpers(evening.on, more)
        for more in range(1, HELPERS_MORE + 1)
        for at, evening in enumerate(evenings)
        if possible(tasks, [*evenings[:at], replace(evening, helpers=evening.helpers + more), *evenings[at + 1 :]])
    ]
    assert told == (ways[0] if ways else None)


@pytest.mark.parametrize("seed", range(10))
def test_no_advice_is_wrong(seed: int) -> None:
    random, short, helped, timed, several, never = Random(seed), 0, 0, 0, 0, 0
    for _ in range(100):
        tasks, evenings = small_program(random)
        now = due_by_last(tasks, evenings)
        assert bool(plan(now, evenings).missing) == (not possible(now, evenings)) == never_in_time(now, evenings)
        if not plan(now, evenings).missing:
            continue
        hands = max(evening.helpers for evening in evenings)
        told = ways_out(tasks, evenings, hands, TODAY)
        check_helpers(now, evenings, told.helpers)
        check_evening(tasks, evenings, told.evening, hands)
        assert told.never == (told.evening is None)
        if told.evenings:
            more = [*evenings, *told.evenings]
            assert not plan(due_by_last(tasks, more), more).missing
            assert len({each.on for each in more}) == len(more)
        short, helped, timed = short + 1, helped + bool(told.helpers), timed + bool(told.evening)
        several, never = several + bool(told.evenings), never + told.never
    assert min(short, helped, timed, several, never) > 0  # every sentence was tried
