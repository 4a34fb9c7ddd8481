"""From histories to lives, worked by hand."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.gear.core import ItemState
from service.season.core import HistoryEntry, What
from service.wear.core.lives import Life, Stretch, days_until, exposed, in_service, merged
from tests.wear.support import ages, lives

FALL = (date(2026, 9, 1), date(2026, 11, 1))
"""September and October: 61 days."""
WINTER = (date(2027, 1, 1), date(2027, 3, 1))
"""January and February: 59 days."""
SEASONS = [FALL, WINTER]


def told(*entries: tuple[What, date]) -> list[HistoryEntry]:
    return [HistoryEntry(on, what) for what, on in entries]


def test_the_worked_example() -> None:
    history = told(
        (What.PASS, date(2026, 9, 30)),
        (What.FAIL, date(2026, 10, 10)),
        (What.REPAIR, date(2026, 10, 12)),
        (What.PASS, date(2026, 10, 31)),
    )
    assert list(lives(history, [FALL])) == [Life(30, 40), Life(19, None)]
    assert ages(history, [FALL], date(2027, 6, 1)) == (19, 19)
    assert ages(history[:1], [FALL], date(2026, 10, 4)) == (30, 34)
    assert ages(history[:2], [FALL], date(2026, 10, 11)) is None


S, F, R, P = What.PASS, What.FAIL, What.REPAIR, What.PARTIAL
CASES = [
    ("never tested", [], []),
    ("failed at its first test", [(F, date(2026, 9, 10))], [Life(0, 10)]),
    ("still good", [(S, date(2026, 9, 10)), (S, date(2027, 1, 2))], [Life(63, None)]),
    ("the break between seasons does not count", [(S, date(2026, 10, 31)), (F, date(2027, 1, 1))], [Life(61, 62)]),
    ("tests between seasons", [(S, date(2026, 11, 20)), (F, date(2027, 1, 10))], [Life(61, 71)]),
    ("no use between: at that moment", [(S, date(2026, 11, 5)), (F, date(2026, 12, 5))], [Life(61, 61)]),
    ("a failure before any use says nothing", [(F, date(2026, 8, 20))], []),
    (
        "partial proves nothing",
        [(S, date(2026, 9, 10)), (P, date(2026, 9, 20)), (F, date(2026, 9, 30))],
        [Life(10, 30)],
    ),
    (
        "failing twice is one failure",
        [(F, date(2026, 9, 10)), (F, date(2026, 9, 12)), (S, date(2026, 9, 14))],
        [Life(0, 10)],
    ),
    (
        "renewed before it failed",
        [(S, date(2026, 9, 10)), (R, date(2026, 9, 20)), (S, date(2026, 9, 30))],
        [Life(10, None), Life(10, None)],
    ),
    ("repaired, and not tested since", [(F, date(2026, 9, 10)), (R, date(2026, 9, 20))], [Life(0, 10)]),
    (
        "repaired and passed at once: no use yet",
        [(F, date(2026, 9, 9)), (R, date(2026, 9, 9)), (S, date(2026, 9, 9))],
        [Life(0, 9)],
    ),
]


def test_what_may_have_come_bad_tells_nothing_by_failing_first() -> None:
    failed = told((F, date(2026, 9, 10)), (R, date(2026, 9, 12)), (S, date(2026, 9, 22)), (F, date(2026, 10, 2)))
    assert list(lives(failed, [FALL], came_good=True)) == [Life(0, 10), Life(10, 20)]
    assert list(lives(failed, [FALL], came_good=False)) == [Life(10, 20)]
    passed = told((P, date(2026, 9, 9)), (S, date(2026, 9, 10)), (F, date(2026, 9, 30)))
    assert list(lives(passed, [FALL], came_good=False)) == list(lives(passed, [FALL])) == [Life(10, 30)]


@pytest.mark.parametrize(("history", "expected"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
def test_lives_by_hand(history: list[tuple[What, date]], expected: list[Life]) -> None:
    assert list(lives(told(*history), SEASONS)) == expected


def test_only_days_in_service_count() -> None:
    """Bought August 15, a spare after September 11, back after October 1, in repair after October 6 until the 11th."""
    service = in_service(
        date(2026, 8, 15),
        [
            (date(2026, 9, 2), ItemState.IN_SERVICE),
            (date(2026, 9, 11), ItemState.SPARE),
            (date(2026, 10, 1), ItemState.IN_SERVICE),
            (date(2026, 10, 6), ItemState.QUARANTINED),
            (date(2026, 10, 6), ItemState.IN_REPAIR),
            (date(2026, 10, 11), ItemState.IN_SERVICE),
        ],
    )
    days = exposed(merged(SEASONS), service)
    assert days == [
        (date(2026, 9, 1), date(2026, 9, 12)),
        (date(2026, 10, 2), date(2026, 10, 7)),
        (date(2026, 10, 12), date(2026, 11, 1)),
        WINTER,
    ]
    counted = [days_until(days)(day) for day in (date(2026, 8, 31), date(2026, 9, 20), date(2026, 10, 8))]
    assert counted == [0, 11, 16]
    assert days_until(days)(date(2027, 5, 1)) == 11 + 5 + 20 + 59


def test_what_was_never_in_service_has_no_days() -> None:
    assert in_service(date(2026, 9, 1), [(date(2026, 9, 1), ItemState.SPARE)]) == []
    assert in_service(date(2026, 9, 1), []) == []


def test_seasons_that_overlap_count_once() -> None:
    both = merged([(date(2026, 10, 1), date(2026, 12, 1)), FALL])
    assert both == [(date(2026, 9, 1), date(2026, 12, 1))]
    assert days_until(both)(date(2026, 12, 31)) == 91


spans = st.lists(
    st.tuples(st.integers(0, 60), st.integers(1, 20)).map(
        lambda told: (date(2026, 1, 1) + timedelta(told[0]), date(2026, 1, 1) + timedelta(sum(told)))
    ),
    max_size=5,
)


@given(spans, spans, st.integers(0, 90))
def test_exposed_days_are_those_in_both_one_by_one(seasons: list[Stretch], service: list[Stretch], until: int) -> None:
    days = [date(2026, 1, 1) + timedelta(number) for number in range(until + 1)]
    both = sum(any(a <= day < b for a, b in seasons) and any(a <= day < b for a, b in service) for day in days)
    assert days_until(exposed(merged(seasons), merged(service)))(days[-1]) == both


@given(st.lists(st.tuples(st.sampled_from(list(What)), st.integers(0, 100)), max_size=12))
def test_ages_end_where_lives_end(entries: list[tuple[What, int]]) -> None:
    """The life that an item is in, if it passed in it, is the last one that is still good."""
    history = [HistoryEntry(FALL[0] + timedelta(on), what) for what, on in sorted(entries, key=lambda entry: entry[1])]
    age, found = ages(history, SEASONS, date(2027, 6, 1)), list(lives(history, SEASONS))
    if age is not None and age[0]:
        assert found[-1] == Life(age[0], None)
    elif age is None:
        assert any(entry.what is What.FAIL for entry in history)
    assert sum(life.upper is not None for life in found) <= sum(what is What.FAIL for what, _ in entries)
