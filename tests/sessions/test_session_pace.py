"""How fast a session goes, when it will be done, and whose turn it is: properties of the pure part."""

from datetime import UTC, datetime, timedelta
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.sessions.core import (
    CLAIM_LASTS,
    LATELY,
    Claim,
    Pace,
    Turn,
    by_place,
    ends_at,
    in_words,
    nearest,
    pace,
    took,
)

NOW = datetime(2026, 9, 21, 22, 0, tzinfo=UTC)
ME, OTHER = UUID(int=1), UUID(int=2)
ago = st.floats(0, 300).map(lambda minutes: NOW - timedelta(minutes=minutes))


def minutes(*past: float) -> list[datetime]:
    return [NOW - timedelta(minutes=each) for each in past]


def test_pace_by_hand() -> None:
    # 12 items in 30 minutes, four of them in the last ten
    found = pace(minutes(30, 28, 26, 24, 22, 20, 18, 16, 9, 6, 3, 0), NOW)
    assert (found.lately, found.overall) == pytest.approx((0.4, 0.4))
    assert ends_at(6, found, NOW) == NOW + timedelta(minutes=15)


@given(st.lists(ago, min_size=1))
def test_pace_times_time_is_how_many(tested: list[datetime]) -> None:
    found = pace(tested, NOW)
    since = max(NOW - min(tested), timedelta(minutes=1))
    assert found.overall * (since / timedelta(minutes=1)) == pytest.approx(len(tested))
    window = min(since, LATELY)
    assert found.lately * (window / timedelta(minutes=1)) == pytest.approx(sum(NOW - at <= window for at in tested))


@given(st.lists(ago, min_size=1), st.integers(1, 500))
def test_twice_as_many_left_take_twice_as_long(tested: list[datetime], left: int) -> None:
    found = pace(tested, NOW)
    once, twice = ends_at(left, found, NOW), ends_at(2 * left, found, NOW)
    assert once is not None
    assert twice is not None
    assert once > NOW
    assert (twice - NOW) / (once - NOW) == pytest.approx(2)


@given(st.lists(ago), st.floats(0, 10_000).map(lambda by: timedelta(minutes=by)))
def test_the_hour_of_the_day_does_not_matter(tested: list[datetime], later: timedelta) -> None:
    moved = pace([at + later for at in tested], NOW + later)
    assert (moved.lately, moved.overall) == pytest.approx((pace(tested, NOW).lately, pace(tested, NOW).overall))


def test_a_rest_is_not_the_end() -> None:
    found = pace(minutes(40, 39, 38, 37), NOW)
    assert found.lately == 0
    assert ends_at(4, found, NOW) == NOW + timedelta(minutes=40)


def test_nothing_to_reckon_with() -> None:
    assert pace([], NOW) == Pace(0, 0)
    assert pace([NOW + timedelta(minutes=5)], NOW) == Pace(0, 0)  # a clock ahead
    assert ends_at(3, Pace(0, 0), NOW) is None
    assert ends_at(0, Pace(1, 1), NOW) is None


claims = st.none() | st.builds(
    Claim, st.sampled_from([ME, OTHER]), st.integers(-9, 9).map(lambda by: NOW + timedelta(minutes=by))
)
walks = st.lists(st.tuples(st.booleans(), claims), max_size=12).map(
    lambda lines: [Turn(UUID(int=100 + at), done, claim) for at, (done, claim) in enumerate(lines)]
)


@given(walks, st.none() | st.integers(100, 111).map(lambda number: UUID(int=number)))
def test_the_next_line_is_open_free_and_none_is_nearer(walk: list[Turn], last: UUID | None) -> None:
    chosen = nearest(walk, ME, last, NOW)
    at = next((index for index, turn in enumerate(walk) if turn.item == last), 0)
    fresh = {
        turn.item: abs(index - at)
        for index, turn in enumerate(walk)
        if turn.item != last and not turn.done and (turn.claim is None or turn.claim.until <= NOW)
    }
    if fresh:
        assert chosen is not None
        assert fresh[chosen.item] == min(fresh.values())
    elif chosen is not None:
        assert chosen.claim is not None
        assert chosen.claim.by == ME
        assert not chosen.done


def test_a_claim_lapses_at_its_last_moment() -> None:
    held = [Turn(UUID(int=100), False, Claim(OTHER, NOW + CLAIM_LASTS))]
    assert nearest(held, ME, None, NOW) is None
    assert nearest(held, ME, None, NOW + CLAIM_LASTS - timedelta(microseconds=1)) is None
    assert nearest(held, ME, None, NOW + CLAIM_LASTS) == held[0]
    assert nearest(held, OTHER, None, NOW) == held[0]


def test_of_two_equally_near_the_one_ahead() -> None:
    walk = [Turn(UUID(int=number), number == 101) for number in (100, 101, 102)]
    assert nearest(walk, ME, UUID(int=101), NOW) == walk[2]


def test_words_for_time_and_places() -> None:
    words = [in_words(timedelta(minutes=by)) for by in (0, 0.4, 1, 59, 60, 125)]
    assert words == ["less than a minute"] * 2 + ["1 minute", "59 minutes", "1 h", "2 h 5 min"]
    assert took(minutes(50, 3, 20)) == timedelta(minutes=47)
    assert took([]) == timedelta(0)
    assert by_place(["Rack", "Frame", "Rack"], [True, False, False]) == {"Rack": (1, 2), "Frame": (0, 1)}
