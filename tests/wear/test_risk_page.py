"""The page that says how an event looks, over a program's own history."""

import math
import re
from datetime import date, timedelta

from service.season.core import HistoryEntry, What
from service.wear.event_risk import prospects
from service.wear.queries import WearRecord, chances, outlook, records, risks
from tests.home.support import Truck, truck
from tests.support.program import Running
from tests.testlog.support import GOOD, OPEN_2, ZONE
from tests.wear.support import item, worn_out


def page_of(program: Running, path: str) -> str:
    answer = program.viewer.get(path, follow_redirects=True)
    assert answer.status_code == 200, answer.text
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text.partition("<main")[2].partition("</main")[0]))


def fails_again(at: Truck, label: str, times: int) -> None:
    """Fail, repair and pass, so many times."""
    for _ in range(times):
        at.program.clock.ahead(days=1)
        at.test(at.tags[label], OPEN_2)
        at.program.clock.ahead(minutes=5)
        at.repair(at.tags[label])
        at.program.clock.ahead(minutes=5)
        at.test(at.tags[label], GOOD)


def test_it_names_what_to_test_first_and_what_that_does(program: Running) -> None:
    at = worn_out(program, 5, 12)
    fails_again(at, "cable 16", 3)
    at.passes(*(f"cable {number}" for number in range(8, 16)))
    program.clock.ahead(days=5)
    today = program.clock.now.date()
    event = at.event("Fernhollow Finals", today + timedelta(days=10))
    page = page_of(program, f"/risk/{event}")
    with program.store.reading() as db:
        found = prospects(db, ZONE, today, today + timedelta(days=10))
        items = records(db, ZONE)
        told = chances(db, items, today, today + timedelta(days=10))
        alone = risks(db, ZONE, today + timedelta(days=10))
    assert outlook(items, told, today + timedelta(days=10)) == found.outlook
    assert {item_id: chance.failed for item_id, chance in told.items()} == alone
    works = math.prod(1 - chance.failed for item_id, chance in told.items() if items[item_id].in_use)
    assert math.isclose(found.outlook.works, works)
    assert f"The chance that all of them work is {100 * works:.0f} %" in page
    assert f"on average {found.outlook.failed:.1f} of the 12 items in use are bad at the event" in page
    assert f"Test the first 10 below today, and pull what is bad: then {found.outlook.failed_then:.1f} are bad" in page
    assert len(found.first) == 10
    assert len(found.others) == 2
    assert [each.chance.gain for each in found.first] == sorted(
        (each.chance.gain for each in found.first), reverse=True
    )
    again = next(each for each in [*found.first, *found.others] if each.item.label == "cable 16")
    assert again.failures == 3
    assert "It failed 3 times in use so far." in page
    longest = next(each for each in found.first if each.item.label == "cable 5")
    assert longest.days == (today + timedelta(days=10) - longest.passed_on).days if longest.passed_on else False
    assert f"{longest.days} days of season in use from then to the event." in page


def test_new_gear_is_told_by_what_is_usual(program: Running) -> None:
    """Before the log tells anything: some 4 in 100 a month, far from sure either way."""
    at = truck(program, ("new one", "Frame 1", 10))
    with program.store.reading() as db:
        found = risks(db, ZONE, date(2026, 10, 1))
    assert 0.005 < found[item(at, "new one")] < 0.06


def test_a_few_tests_tell_something_with_caution(program: Running) -> None:
    at = truck(program, ("one", "Frame 1", 10), ("two", "Frame 1", 10))
    at.passes("one", "two")
    program.clock.ahead(days=7)
    at.event("Opening Show", program.clock.now.date())
    page = page_of(program, "/risk")
    assert re.search(r"The chance that all of them work is \d+ %", page)
    assert "today" in page
    assert "; tested today," not in page
    with program.store.reading() as db:
        assert 0 < risks(db, ZONE, date(2026, 9, 28))[item(at, "one")] < 0.5


def test_without_an_event_and_after_one_it_says_so(program: Running) -> None:
    at = truck(program, ("one", "Frame 1", 10))
    assert "No event is coming" in page_of(program, "/risk")
    event = at.event("Opening Show", program.clock.now.date())
    program.clock.ahead(days=2)
    assert "It is over" in page_of(program, f"/risk/{event}")
    assert program.viewer.get("/risk/nothing").status_code == 404


def test_the_last_pass_counts_until_a_repair() -> None:
    """Also one of before the season, when no day of use had passed."""
    passed, repaired = HistoryEntry(date(2026, 8, 20), What.PASS), HistoryEntry(date(2026, 8, 22), What.REPAIR)

    def passed_on(*history: HistoryEntry) -> date | None:
        return WearRecord(("cable",), list(history), [], in_use=True, came_good=True).passed_on

    assert passed_on(passed) == passed.on
    assert passed_on(passed, repaired) is None
    assert passed_on(passed, repaired, HistoryEntry(repaired.on, What.PASS)) == repaired.on
