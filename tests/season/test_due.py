"""The due rule: cases worked by hand, properties, and a second version of the rule written another way."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kit.problems import Invalid
from service.season.core import (
    Due,
    DueState,
    HistoryEntry,
    Round,
    Season,
    What,
    due,
    due_in_seasons,
    next_change,
    split,
)
from tests.support.examples import examples

FALL = Season(date(2026, 8, 3), date(2026, 11, 15), split(date(2026, 8, 3), date(2026, 11, 15), 2))
INDOOR = Season(
    date(2026, 10, 26),
    date(2027, 4, 11),
    (Round(date(2026, 10, 26), date(2026, 12, 20)), Round(date(2027, 1, 10), date(2027, 4, 12))),
)
FIRST, SECOND = FALL.rounds
LETTERS = {"p": What.PASS, "f": What.FAIL, "n": What.PARTIAL, "r": What.REPAIR}


def history(text: str) -> list[HistoryEntry]:
    """`"08-20 p"`: a pass on August 20, 2026; entries stand between commas."""
    words = [entry.split() for entry in text.split(",") if entry.strip()]
    return [HistoryEntry(date.fromisoformat(f"2026-{on}"), LETTERS[what]) for on, what in words]


def test_two_rounds_of_a_season_of_105_days() -> None:
    assert FALL.rounds == (
        Round(date(2026, 8, 3), date(2026, 9, 24)),  # 52 days
        Round(date(2026, 9, 24), date(2026, 11, 16)),  # 53 days, closing the day after the season ends
    )


UNTESTED, BLOCKED = Due(DueState.UNTESTED), Due(DueState.BLOCKED)
OVERDUE_0 = Due(DueState.OVERDUE, FIRST.closes, 0)
OVERDUE_1 = Due(DueState.OVERDUE, SECOND.closes, 1)
DUE_0 = Due(DueState.DUE, FIRST.closes, 0)
DUE_1 = Due(DueState.DUE, SECOND.closes, 1)
UNTIL_0 = Due(DueState.CURRENT, FIRST.closes, 0)
UNTIL_1 = Due(DueState.CURRENT, SECOND.closes, 1)
CURRENT = Due(DueState.CURRENT)

BY_HAND = [
    ("the contract's example", "08-20 p", "08-03", "10-01", DUE_1),
    # 1 blocked
    ("a fail", "08-20 f", "08-03", "08-21", BLOCKED),
    ("a fail, then a pass without a repair", "08-20 f, 08-21 p", "08-03", "08-21", BLOCKED),
    ("a repair that no pass has proven", "08-20 f, 08-21 r", "08-03", "08-21", BLOCKED),
    ("a repair that a partial test followed", "08-20 f, 08-21 r, 08-22 n", "08-03", "08-22", BLOCKED),
    ("a repair without a fail", "08-10 p, 08-20 r", "08-03", "08-21", BLOCKED),
    ("repaired and passed on one day", "08-20 f, 08-20 r, 08-20 p", "08-03", "08-21", UNTIL_1),
    ("failed again after the repair", "08-20 f, 08-20 r, 08-20 p, 08-21 f", "08-03", "08-21", BLOCKED),
    ("one repair for two fails", "08-20 f, 08-21 f, 08-22 r, 08-23 p", "08-03", "08-23", UNTIL_1),
    ("blocked comes before overdue", "08-01 p, 08-20 f", "08-03", "10-01", BLOCKED),
    ("a fail that is still to come", "08-20 p, 10-02 f", "08-03", "10-01", DUE_1),
    # 2 untested
    ("never tested", "", "08-03", "10-01", UNTESTED),
    ("only partial tests", "08-20 n", "08-03", "10-01", UNTESTED),
    ("a pass that is still to come", "10-02 p", "08-03", "10-01", UNTESTED),
    # 3 overdue
    ("no pass in a closed round", "08-02 p", "08-03", "09-24", OVERDUE_0),
    ("a pass of the day before it opened", "08-02 p", "08-03", "10-01", OVERDUE_0),
    ("a pass of the day it opened", "08-03 p", "08-03", "10-01", DUE_1),
    ("in service on its last day", "08-02 p", "09-23", "10-01", OVERDUE_0),
    ("in service on the day it closed", "08-02 p", "09-24", "10-01", DUE_1),
    ("a late pass ends it and counts for the next", "08-02 p, 09-24 p", "08-03", "10-01", CURRENT),
    ("both rounds missed: the earliest", "08-02 p", "08-03", "11-16", OVERDUE_0),
    ("the second round missed", "08-20 p", "08-03", "11-16", OVERDUE_1),
    ("the season is long over", "08-20 p", "08-03", "12-31", OVERDUE_1),
    # 4 due
    ("a pass before the season", "08-02 p", "08-03", "08-03", DUE_0),
    ("on the last day", "08-02 p", "08-03", "09-23", DUE_0),
    ("a partial test does not help", "08-02 p, 08-10 n", "08-03", "08-10", DUE_0),
    # 5 current
    ("passed in the open round", "08-20 p", "08-03", "09-23", UNTIL_1),
    ("before the season", "07-01 p", "07-01", "08-02", UNTIL_0),
    ("passed in the last round", "08-20 p, 10-01 p", "08-03", "11-15", CURRENT),
    ("after the season", "08-20 p, 10-01 p", "08-03", "12-31", CURRENT),
]


@pytest.mark.parametrize(
    ("log", "since", "today", "expected"), [case[1:] for case in BY_HAND], ids=[c[0] for c in BY_HAND]
)
def test_cases_worked_by_hand(log: str, since: str, today: str, expected: Due) -> None:
    in_service_on, on = date.fromisoformat(f"2026-{since}"), date.fromisoformat(f"2026-{today}")
    assert due(FALL, in_service_on, history(log), on) == expected


@pytest.mark.parametrize(
    ("log", "today", "expected"),
    [
        ("08-20 p", "10-01", DUE_1),
        ("08-20 p, 10-01 p", "10-26", Due(DueState.DUE, date(2026, 12, 20), 0)),
        ("08-20 p", "10-26", DUE_1),  # due in both: the earlier day
        ("08-20 p, 10-26 p", "10-26", Due(DueState.CURRENT, date(2027, 4, 12), 1)),
        ("08-20 p", "11-16", OVERDUE_1),  # overdue in one, due in the other
        ("", "11-16", UNTESTED),
        ("08-20 f", "11-16", BLOCKED),
    ],
)
def test_the_worst_of_two_seasons_counts(log: str, today: str, expected: Due) -> None:
    on = date.fromisoformat(f"2026-{today}")
    assert due_in_seasons([INDOOR, FALL], date(2026, 8, 3), history(log), on) == expected


@pytest.mark.parametrize(("log", "expected"), [("", UNTESTED), ("08-20 f", BLOCKED), ("08-20 p", CURRENT)])
def test_without_a_season_nothing_is_due(log: str, expected: Due) -> None:
    assert due_in_seasons([], date(2026, 8, 3), history(log), date(2026, 10, 1)) == expected


@pytest.mark.parametrize(
    ("log", "today", "expected"),
    [
        ("08-20 p", "08-21", "2026-09-24"),  # becomes due
        ("08-20 p", "10-01", "2026-11-16"),  # becomes overdue
        ("08-20 p", "11-16", None),
        ("08-20 p, 10-01 p", "10-01", None),
        ("", "08-03", None),
        ("08-20 f", "08-21", None),
        ("08-20 p, 10-05 f", "10-01", "2026-10-05"),  # a phone whose clock is ahead
    ],
)
def test_the_next_change(log: str, today: str, expected: str | None) -> None:
    day = next_change([FALL], date(2026, 8, 3), history(log), date.fromisoformat(f"2026-{today}"))
    assert (day and day.isoformat()) == expected


# Properties

days = st.integers(0, 80).map(lambda offset: date(2026, 1, 1) + timedelta(days=offset))


@st.composite
def seasons(draw: st.DrawFn) -> Season:
    edges = sorted(draw(st.sets(days, min_size=2, max_size=8)))
    pairs = zip(edges[::2], edges[1::2], strict=False)
    rounds = tuple(Round(opens, closes) for opens, closes in pairs)
    return Season(rounds[0].opens, rounds[-1].closes, rounds)


histories = st.lists(st.builds(HistoryEntry, days, st.sampled_from(What)), max_size=8).map(
    lambda entries: sorted(entries, key=lambda entry: entry.on)
)


def walk(log: list[HistoryEntry], today: date) -> tuple[What | None, list[date]]:
    """What the item waits for after a fail, and the days of its passes."""
    waits_for, passes = None, []
    for entry in log:
        if entry.on > today:
            break
        match entry.what, waits_for:
            case What.FAIL, _:
                waits_for = What.REPAIR
            case What.REPAIR, _:
                waits_for = What.PASS
            case What.PASS, What.PASS:
                waits_for = None
        if entry.what is What.PASS:
            passes.append(entry.on)
    return waits_for, passes


def of_round(each: Round, in_service_on: date, passes: list[date], today: date) -> DueState | None:
    if any(each.opens <= passed for passed in passes):
        return None
    if today >= each.closes:
        return DueState.OVERDUE if in_service_on < each.closes else None
    return DueState.DUE if today >= each.opens else DueState.CURRENT


def otherwise(season: Season, in_service_on: date, log: list[HistoryEntry], today: date) -> Due:
    """The rule once more: a walk through the history, then each round asked for its own answer."""
    waits_for, passes = walk(log, today)
    if waits_for:
        return BLOCKED
    if not passes:
        return UNTESTED
    answers = [of_round(each, in_service_on, passes, today) for each in season.rounds]
    for state in (DueState.OVERDUE, DueState.DUE, DueState.CURRENT):
        if state in answers:
            number = answers.index(state)
            return Due(state, season.rounds[number].closes, number)
    return CURRENT


@examples(300)
@given(seasons(), days, histories, days)
def test_both_versions_of_the_rule_agree(season: Season, since: date, log: list[HistoryEntry], today: date) -> None:
    assert due(season, since, log, today) == otherwise(season, since, log, today)


@given(seasons(), days, histories, days)
def test_what_comes_after_today_is_ignored(season: Season, since: date, log: list[HistoryEntry], today: date) -> None:
    known = [entry for entry in log if entry.on <= today]
    assert due(season, since, log, today) == due(season, since, known, today)


@given(seasons(), days, histories, days)
def test_more_history_never_takes_a_passed_round_back(
    season: Season, since: date, log: list[HistoryEntry], today: date
) -> None:
    """With passes and partial tests added, no round that was settled is asked for again."""
    known = [entry for entry in log if entry.on <= today]
    before = due(season, since, known, today)
    for what in (What.PASS, What.PARTIAL):
        after = due(season, since, [*known, HistoryEntry(today, what)], today)
        if before.due_by:
            assert after.due_by is None or after.due_by >= before.due_by
        elif before.state is DueState.CURRENT:
            assert after == before


@given(st.lists(seasons(), max_size=3), days, histories, days)
def test_the_answer_changes_on_no_day_before_next_change_and_on_that_day(
    answered_to: list[Season], since: date, log: list[HistoryEntry], today: date
) -> None:
    now = due_in_seasons(answered_to, since, log, today)
    change = next_change(answered_to, since, log, today)
    far = date(2026, 12, 31)
    day = today
    while day < (change or far):
        assert due_in_seasons(answered_to, since, log, day) == now
        day += timedelta(days=1)
    assert (due_in_seasons(answered_to, since, log, day) != now) == (change is not None)


@given(st.lists(seasons(), min_size=1, max_size=3), days, histories, days)
def test_the_order_of_the_seasons_does_not_matter(
    answered_to: list[Season], since: date, log: list[HistoryEntry], today: date
) -> None:
    forward = due_in_seasons(answered_to, since, log, today)
    backward = due_in_seasons(answered_to[::-1], since, log, today)
    assert (forward.state, forward.due_by) == (backward.state, backward.due_by)
    assert forward in [due(season, since, log, today) for season in answered_to]


@given(days, st.integers(0, 400), st.data())
def test_rounds_share_the_season_evenly(starts: date, more: int, data: st.DataObject) -> None:
    count = data.draw(st.integers(1, more + 1))
    rounds = split(starts, starts + timedelta(days=more), count)
    lengths = [(each.closes - each.opens).days for each in rounds]
    assert len(rounds) == count
    assert rounds[0].opens == starts
    assert sum(lengths) == more + 1
    assert max(lengths) - min(lengths) <= 1


# Refusals

A, B, C, D = (date(2026, 1, day) for day in (1, 10, 20, 30))


def test_a_season_that_contradicts_itself_is_refused() -> None:
    with pytest.raises(Invalid, match="before it starts") as refusal:
        Season(B, A, (Round(A, B),))
    assert list(refusal.value.errors) == ["ends"]
    with pytest.raises(Invalid, match="at least one round"):
        Season(A, D, ())
    with pytest.raises(Invalid, match="overlaps or comes before"):
        Season(A, D, (Round(A, C), Round(B, D)))
    with pytest.raises(Invalid, match="must close on a later day"):
        Round(A, A)
    assert Season(A, D, (Round(A, B), Round(B, C), Round(C, D)))


@pytest.mark.parametrize("count", [-1, 0, 11])
def test_rounds_that_do_not_fit_are_refused(count: int) -> None:
    with pytest.raises(Invalid, match="A season of 10 days has from 1 to 10 rounds"):
        split(A, B, count)
