"""Ready for the day: the acts against every choice of acts, and what a target, a swap and planned evenings do."""

import math
from itertools import combinations
from uuid import UUID

from hypothesis import given
from hypothesis import strategies as st

from service.retire.readiness.core import Act, ActKind, ActOrder, ItemInUse, PossibleAct, once_tested, readiness

CHANCES = st.sampled_from([0.0, 0.001, 0.02, 0.1, 0.26, 0.5, 0.9])


def a_test(seconds: int, bad_then: float) -> PossibleAct:
    return PossibleAct(ActKind.TEST, seconds, bad_then)


@st.composite
def programs(draw: st.DrawFn, most: int = 7) -> list[ItemInUse]:
    """Items of which some are known to be bad, some are in doubt, and some have no act."""
    found = []
    for number in range(draw(st.integers(0, most))):
        bad = draw(st.one_of(CHANCES, st.just(1.0)))
        test = draw(st.none() | st.builds(a_test, st.integers(60, 400), CHANCES))
        swap = PossibleAct(ActKind.SWAP, 300, draw(CHANCES), UUID(int=1000 + number))
        act = draw(st.sampled_from([test, swap, None]))
        doubted = bad < 1 and draw(st.booleans())
        found.append(ItemInUse(UUID(int=number), bad, test, act, doubted))
    return found


def all_work(items: list[ItemInUse], done: frozenset[UUID]) -> float:
    return math.prod(1 - (item.act.bad_then if item.act and item.id in done else item.bad) for item in items)


@given(items=programs(), target=st.sampled_from([0.5, 0.9, 0.95, 1.0]))
def test_no_choice_of_as_many_acts_is_better(items: list[ItemInUse], target: float) -> None:
    """As far as what is needed anyway is done; and each act says what it gives, by trying it."""
    found = readiness(items, target)
    assert math.isclose(found.chance, all_work(items, frozenset()), abs_tol=1e-15)
    possible = [item for item in items if item.id not in found.stuck]
    needed = [act for act in found.acts if any(one.id == act.item and (one.known_bad or one.doubted) for one in items)]
    assert list(found.acts[: len(needed)]) == needed
    done: frozenset[UUID] = frozenset()
    for number, act in enumerate(found.acts, 1):
        assert math.isclose(act.before, all_work(possible, done), abs_tol=1e-15)
        done |= {act.item}
        assert math.isclose(act.after, all_work(possible, done), abs_tol=1e-15)
        if number >= len(needed):
            must = {one.item for one in needed}
            others = [item.id for item in possible if item.act and item.id not in must]
            best = max(
                all_work(possible, frozenset(must | set(some))) for some in combinations(others, number - len(must))
            )
            assert math.isclose(act.after, best, abs_tol=1e-12)
    assert math.isclose(found.after, all_work(items, done), abs_tol=1e-15)
    assert math.isclose(found.others_after, all_work(possible, done), abs_tol=1e-15)


@given(items=programs())
def test_by_minutes_no_choice_of_acts_that_takes_no_longer_is_better(items: list[ItemInUse]) -> None:
    """After what is needed anyway, and with the same acts in the end as in the other order."""
    found, other = readiness(items, 1.0, ActOrder.MINUTE), readiness(items, 1.0)
    assert {act.item for act in found.acts} == {act.item for act in other.acts}
    needed = {one.id for one in items if one.known_bad or one.doubted} & {act.item for act in found.acts}
    assert {act.item for act in found.acts[: len(needed)]} == needed
    possible = [item for item in items if item.id not in found.stuck]
    others = [item for item in possible if item.act and item.id not in needed]
    choices = [frozenset(some) for count in range(len(others) + 1) for some in combinations(others, count)]
    for number in range(len(needed), len(found.acts)):
        minutes = sum(act.seconds for act in found.acts[len(needed) : number + 1])
        best = max(
            all_work(possible, frozenset(needed | {item.id for item in some}))
            for some in choices
            if sum(item.act.seconds for item in some if item.act) <= minutes
        )
        assert math.isclose(found.acts[number].after, best, abs_tol=1e-12)


def test_what_gives_less_goes_first_where_it_takes_much_less_time() -> None:
    slow = ItemInUse(UUID(int=1), 0.2, None, a_test(900, 0.0))
    quick = ItemInUse(UUID(int=2), 0.1, None, a_test(60, 0.0))
    assert [act.item.int for act in readiness([slow, quick], 1.0).acts] == [1, 2]
    assert [act.item.int for act in readiness([slow, quick], 1.0, ActOrder.MINUTE).acts] == [2, 1]


@given(items=programs(), target=st.sampled_from([0.5, 0.9, 0.95]))
def test_it_ends_at_the_target_or_when_nothing_helps(items: list[ItemInUse], target: float) -> None:
    found = readiness(items, target)
    open_items = {item.id: item for item in items if item.id not in found.stuck}
    advised = {act.item for act in found.acts}
    if found.acts and found.others_after >= target:
        last = found.acts[-1]
        item = open_items[last.item]
        assert item.known_bad or item.doubted or last.before < target
    elif found.others_after < target * (1 - 1e-9):
        assert all(item.gain <= 1e-9 for item in open_items.values() if item.id not in advised)


@given(items=programs(), tested=st.sets(st.integers(0, 6)))
def test_evenings_never_make_it_worse_and_leave_no_test_of_theirs(items: list[ItemInUse], tested: set[int]) -> None:
    ids = {UUID(int=number) for number in tested}
    before, after = readiness(items, 0.95), readiness(once_tested(items, ids), 0.95)
    assert after.chance >= before.chance * (1 - 1e-12)
    has_test = {item.id for item in items if item.tested}
    assert not any(act.kind is ActKind.TEST and act.item in ids & has_test for act in after.acts)


def test_what_failed_comes_first_then_what_crackled_then_the_riskiest() -> None:
    def item(number: int, bad: float, bad_then: float, doubted: bool = False) -> ItemInUse:
        return ItemInUse(UUID(int=number), bad, None, a_test(180, bad_then), doubted)

    swap = PossibleAct(ActKind.SWAP, 300, 0.01, UUID(int=9))
    items = [item(1, 0.02, 0.01), item(2, 0.3, 0.02), item(3, 0.01, 0.01, True), ItemInUse(UUID(int=4), 1, None, swap)]
    found = readiness(items, 0.99)
    assert [act.item.int for act in found.acts] == [4, 3, 2, 1]  # what crackled is tested, whatever its chance says
    assert (found.chance, found.gaps, found.acts[0].spare) == (0.0, 1, UUID(int=9))
    assert math.isclose(found.others, 0.98 * 0.7 * 0.99)
    assert found.acts[0] == Act(UUID(int=4), ActKind.SWAP, 300, UUID(int=9), 1, 0.01, 0, found.acts[0].after)
    assert found.seconds == 840
    assert not found.reached
    assert [act.item.int for act in readiness(items, 0.9).acts] == [4, 3, 2]


def test_what_failed_and_has_nothing_to_go_in_is_told_and_the_others_are_helped() -> None:
    stuck, risky = ItemInUse(UUID(int=1), 1), ItemInUse(UUID(int=2), 0.2, None, a_test(120, 0.0))
    found = readiness([stuck, risky], 0.95)
    assert (found.chance, found.after, found.stuck) == (0, 0, (UUID(int=1),))
    assert (found.others, found.others_after) == (0.8, 1.0)
    assert [act.item.int for act in found.acts] == [2]


def test_nothing_in_use_works_for_sure() -> None:
    found = readiness([], 0.95)
    assert (found.chance, found.acts, found.is_ready) == (1.0, (), True)
