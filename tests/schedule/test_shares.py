"""Sharing an evening among helpers, against Graham's bound, the published worst case and exact solvers."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from itertools import combinations, pairwise
from uuid import UUID

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import LinearConstraint, milp

from service.schedule.planning.core.shares import (
    Cut,
    Share,
    Task,
    enough_helpers,
    longest_first,
    seconds_of,
    shared,
    within,
)
from tests.support.examples import examples


def tasks_of(jobs: Iterable[tuple[int, int]]) -> list[Task]:
    """Tasks told as (place, seconds)."""
    return [Task(UUID(int=number), place, seconds) for number, (place, seconds) in enumerate(jobs)]


def at_one_place(seconds: Sequence[int]) -> list[Task]:
    return tasks_of((1, each) for each in seconds)


def fits(tasks: Sequence[Task], hands: int, limit: int) -> bool:
    """Whether so many helpers get all of it done."""
    stops: dict[int, Counter[int]] = defaultdict(Counter)
    for task in tasks:
        stops[task.place][task.seconds] += 1
    return enough_helpers(stops, limit, hands)


def longest(shares: Iterable[Share]) -> int:
    return max(map(seconds_of, shares), default=0)


def soonest(seconds: Sequence[int], hands: int) -> int:
    """The best that `hands` helpers can do who go anywhere: a mixed-integer program, solved to the end."""
    jobs = len(seconds)
    once = np.hstack([np.kron(np.eye(jobs), np.ones(hands)), np.zeros((jobs, 1))])
    loads = np.hstack([np.kron(np.array(seconds, float), np.eye(hands)), -np.ones((hands, 1))])
    last = np.zeros(jobs * hands + 1)
    last[-1] = 1
    found = milp(
        last,
        constraints=[LinearConstraint(once, 1, 1), LinearConstraint(loads, -np.inf, 0)],
        integrality=np.append(np.ones(jobs * hands), 0),
    )
    assert found.fun is not None
    return round(found.fun)


def soonest_along_the_walk(tasks: Sequence[Task], hands: int) -> int:
    """The best where a helper takes whole places, or shares one place with others: every way of cutting is tried."""
    places = sorted({task.place for task in tasks})
    best = seconds_of(tasks)
    for cuts in (cut for count in range(hands) for cut in combinations(range(1, len(places)), count)):
        edges = [0, *cuts, len(places)]
        parts = [[task for task in tasks if task.place in places[a:b]] for a, b in pairwise(edges)]
        for crew in crews(parts, hands):
            best = min(best, max(soonest([t.seconds for t in part], n) for part, n in crew))
    return best


def crews(parts: Sequence[list[Task]], hands: int) -> Iterable[list[tuple[list[Task], int]]]:
    if not parts:
        yield []
        return
    most = hands - len(parts) + 1 if len({task.place for task in parts[0]}) == 1 else 1
    for here in range(1, most + 1):
        for rest in crews(parts[1:], hands - here):
            yield [(parts[0], here), *rest]


@pytest.mark.parametrize(
    ("hands", "jobs", "by_rule", "best"),
    [
        (2, (3, 3, 2, 2, 2), 7, 6),
        (3, (5, 5, 4, 4, 3, 3, 3), 11, 9),
        (4, (7, 7, 6, 6, 5, 5, 4, 4, 4), 15, 12),
        (5, (9, 9, 8, 8, 7, 7, 6, 6, 5, 5, 5), 19, 15),
        (6, (11, 11, 10, 10, 9, 9, 8, 8, 7, 7, 6, 6, 6), 23, 18),
    ],
)
def test_the_published_worst_case(hands: int, jobs: tuple[int, ...], by_rule: int, best: int) -> None:
    """Graham 1969: 2m+1 jobs 2m-1, 2m-1, ..., m+1, m+1, m, m, m take 4m-1 by the rule, and 3m at best."""
    assert longest(longest_first(at_one_place(jobs), hands)) == by_rule == 4 * hands - 1
    assert soonest(jobs, hands) == best == 3 * hands


jobs = st.lists(st.integers(1, 30), min_size=1, max_size=8)


@examples(40)
@given(jobs, st.integers(1, 4))
def test_at_one_place_grahams_bound_is_kept(seconds: list[int], hands: int) -> None:
    """LPT takes at most 4/3 - 1/(3m) times the best (Graham 1969, theorem 2); an exact solver tells the best."""
    best = soonest(seconds, hands)
    for shares in (longest_first(at_one_place(seconds), hands), shared(at_one_place(seconds), hands)):
        assert best <= longest(shares) <= (4 / 3 - 1 / (3 * hands)) * best + 1e-9


walks = st.lists(st.tuples(st.integers(1, 5), st.integers(1, 30)), min_size=1, max_size=6).map(tasks_of)


@examples(40)
@given(walks, st.integers(1, 3))
def test_along_the_walk_too(tasks: list[Task], hands: int) -> None:
    """Only sharing a place follows the rule, and all else is exact, so the same bound holds against every cutting."""
    best = soonest_along_the_walk(tasks, hands)
    assert best <= longest(shared(tasks, hands)) <= (4 / 3 - 1 / (3 * hands)) * best + 1e-9


one_each = st.lists(st.integers(1, 40), min_size=1, max_size=9).map(lambda all_: tasks_of(enumerate(all_)))


@settings(deadline=None)
@given(one_each, st.integers(1, 5))
def test_where_nobody_shares_a_place_no_way_of_cutting_the_walk_is_sooner(tasks: list[Task], hands: int) -> None:
    ways = (cuts for count in range(hands) for cuts in combinations(range(1, len(tasks)), count))
    best = min(max(seconds_of(tasks[a:b]) for a, b in pairwise([0, *cuts, len(tasks)])) for cuts in ways)
    assert longest(shared(tasks, hands)) == best


@given(st.lists(st.tuples(st.integers(1, 9), st.integers(1, 60)), max_size=40).map(tasks_of), st.integers(1, 7))
def test_everything_is_done_once_and_everybody_keeps_to_a_stretch(tasks: list[Task], hands: int) -> None:
    shares = shared(tasks, hands)
    assert len(shares) <= hands
    assert sorted(task.item for share in shares for task in share) == sorted(task.item for task in tasks)
    stretches = [(share[0].place, share[-1].place) for share in shares]
    for share, (first, last) in zip(shares, stretches, strict=True):
        assert {first, last} <= {task.place for task in share}
        assert all(first <= task.place <= last for task in share)
    for (first, last), (then, until) in pairwise(stretches):
        assert last < then or (first == last == then == until)  # or they share one place, and stay there
    assert len(shares) == min(hands, len(tasks))  # nobody stands by while another has two things to do


@given(
    st.lists(st.tuples(st.integers(1, 9), st.integers(1, 60)), min_size=1, max_size=20).map(tasks_of),
    st.integers(1, 5),
    st.integers(1, 400),
)
def test_what_fits_within_a_time_is_within_it(tasks: list[Task], hands: int, limit: int) -> None:
    ways = {cut: within(tasks, limit, cut) for cut in Cut}
    cuts = (ways[Cut.LONGEST_FIRST], ways[Cut.EXACTLY])
    assert fits(tasks, hands, limit) == any(shares is not None and len(shares) <= hands for shares in cuts)
    for shares in ways.values():
        assert (shares is None) == (max(task.seconds for task in tasks) > limit)
        assert longest(shares or []) <= limit
    if fits(tasks, hands, limit):
        shares = shared(tasks, hands, limit)
        assert longest(shares) <= limit
        assert len(shares) <= hands
        assert sorted(task.item for share in shares for task in share) == sorted(task.item for task in tasks)
        for one, then in pairwise(shares):
            assert max(task.place for task in one) <= min(task.place for task in then)


def test_a_place_is_cut_only_where_the_evening_is_too_short_otherwise() -> None:
    tasks = tasks_of((place, 120) for place in (1, 1, 2, 2, 3, 3))
    assert [[task.place for task in share] for share in shared(tasks, 2, 480)] == [[1, 1, 2, 2], [3, 3]]
    assert [[task.place for task in share] for share in shared(tasks, 2, 360)] == [[1, 1, 2], [2, 3, 3]]


def test_two_helpers_share_the_shelf_that_is_too_much_for_one() -> None:
    shelf = [(2, 600)] * 4
    shares = shared(tasks_of([(1, 120), (1, 120), *shelf, (3, 120)]), 4)
    assert [[task.place for task in share] for share in shares] == [[1, 1], [2, 2], [2, 2], [3]]


def test_nothing_to_do_needs_nobody() -> None:
    assert shared([], 3) == []
