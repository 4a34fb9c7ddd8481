"""Which seasons are looked at, with which tests, and what each item has before it."""

from datetime import date, timedelta
from uuid import uuid4

from service.season.core import HistoryEntry, Season, What, split
from service.wear.core.fleet import PlannedSeason
from service.wear.future_seasons import SeasonToCome, fleets, looked_at
from service.wear.queries import WearRecord

FALL = Season(date(2026, 9, 1), date(2026, 12, 14), split(date(2026, 9, 1), date(2026, 12, 14), 2))
WINTER = Season(date(2027, 1, 4), date(2027, 3, 14), split(date(2027, 1, 4), date(2027, 3, 14), 3))


def test_a_season_to_come_is_tested_on_the_last_day_of_each_round() -> None:
    first, second, third = looked_at([("Fall", FALL)], date(2026, 6, 1))
    assert first.planned() == PlannedSeason(105, (52, 105))
    assert (first.name, first.runs, first.base) == ("Fall", False, date(2026, 8, 31))
    assert [(each.name, each.runs, each.planned()) for each in (second, third)] == [(None, False, first.planned())] * 2


def test_of_the_season_that_runs_counts_what_is_left_and_the_next_that_is_known_has_its_own_rounds() -> None:
    today = date(2026, 9, 21)
    fall, winter, third = looked_at([("Fall", FALL), ("Winter", WINTER)], today)
    assert (fall.runs, fall.base) == (True, today)
    assert fall.planned() == PlannedSeason(84, (31, 84), runs=True)
    assert fall.planned(passed_on=date(2026, 9, 3)) == PlannedSeason(84, (84,), runs=True)
    assert (winter.name, winter.planned()) == ("Winter", PlannedSeason(70, (23, 46, 70)))
    assert (third.name, third.planned()) == (None, winter.planned())


def test_of_a_season_that_is_over_or_ends_today_nothing_is_left() -> None:
    for today in (FALL.ends, FALL.ends + timedelta(days=40)):
        coming = looked_at([("Fall", FALL)], today)
        assert [each.name for each in coming] == [None] * 3
        assert coming[0].base >= today
        assert coming[0].planned() == PlannedSeason(105, (52, 105))


def test_items_go_on_from_their_last_pass_with_the_tests_that_are_left_to_them() -> None:
    today, days = date(2026, 9, 21), [(FALL.starts, FALL.ends + timedelta(days=1))]
    coming: list[SeasonToCome] = looked_at([("Fall", FALL)], today)

    def item(*history: HistoryEntry) -> WearRecord:
        return WearRecord(("cable",), list(history), days, in_use=True, came_good=True)

    passed, waits, bad = uuid4(), uuid4(), uuid4()
    items = {
        passed: item(HistoryEntry(date(2026, 9, 10), What.PASS)),
        waits: item(),
        bad: item(HistoryEntry(date(2026, 9, 10), What.FAIL)),
    }
    (one, of_one), (other, of_other) = fleets(items, coming, today)
    assert (of_one, one.passed, one.ages, one.seasons[0].tests) == ([passed], (10,), (21,), (84,))
    assert (of_other, other.passed, other.ages, other.seasons[0].tests) == ([waits], (0,), (21,), (31, 84))
