"""What is due, as page and JSON, held against the pure rule, today and on other days."""

from datetime import date, timedelta
from itertools import pairwise

import pytest

from service.gear.queries import place_named
from service.season.core import DueState, due_of_lanes
from service.testlog.core import days_by_lane
from service.testlog.queries import events
from tests.home.support import Truck, truck
from tests.support.program import Running
from tests.testlog.support import FALL, OPEN_2, ZONE


def mixed(program: Running) -> Truck:
    """One item of each kind of history, on three frames; one retired."""
    at = truck(
        program,
        ("early", "Frame 3", 10),
        ("good", "Frame 1", 10),
        ("broken", "Frame 2", 10),
        ("mended", "Frame 2", 10),
        ("fresh", "Frame 1", 10),
        ("gone", "Frame 1", 10),
    )
    start = program.clock.now
    program.clock.now = start - timedelta(days=30)
    at.passes("early", "gone")
    program.clock.now = start
    at.passes("good")
    at.test(at.tags["broken"], OPEN_2)
    at.test(at.tags["mended"], OPEN_2)
    program.clock.ahead(hours=1)
    at.repair(at.tags["mended"])
    at.retire("gone")
    return at


DAYS = ["2026-08-25", "2026-09-20", "2026-09-21", "2026-10-15", "2026-10-16", "2026-12-01", "2027-03-01"]


@pytest.mark.parametrize("on", DAYS)
def test_the_list_is_what_the_rule_says(program: Running, on: str) -> None:
    at = mixed(program)
    answer = program.viewer.get("/api/v1/due", params={"on": on}).json()
    with program.store.reading() as db:
        histories = events(db, at.ids.values())
    wanted = {
        code: due_of_lanes([FALL], FALL.starts, days_by_lane(histories[item], (), ZONE), date.fromisoformat(on))
        for code, item in at.ids.items()
        if code != at.tags["gone"]
    }
    assert answer["on"] == on
    assert answer["counts"] == {state: sum(due.state is state for due in wanted.values()) for state in DueState}
    told = {
        line["code"]: (state, line["due_by"], line["round"])
        for state, lines in answer["items"].items()
        for line in lines
    }
    assert told == {code: (due.state, due.due_by and due.due_by.isoformat(), due.round) for code, due in wanted.items()}
    assert answer["next"] == {}


@pytest.mark.parametrize("on", [None, "2026-12-05"])
def test_pages_of_a_state_hold_every_item_once(program: Running, on: str | None) -> None:
    truck(program, *[(f"cable {number}", f"Frame {number % 3}", 10) for number in range(7)])
    asked = {"state": "untested", "limit": "3"} | ({"on": on} if on else {})
    found, after = [], None
    for _ in range(3):
        answer = program.viewer.get("/api/v1/due", params=asked | ({"after": after} if after else {})).json()
        assert answer["counts"]["untested"] == 7
        found += [line["code"] for line in answer["items"]["untested"]]
        after = answer["next"].get("untested")
    assert after is None
    assert len(found) == len(set(found)) == 7


def test_the_page_walks_from_place_to_place(program: Running) -> None:
    at = mixed(program)
    page = program.crew.get("/due").text
    places = [page.index(f">{name}</h2>") for name in ("Frame 3", "Frame 1", "Frame 2")]  # as they were made
    assert places == sorted(places)
    assert at.tags["good"] not in page
    assert at.tags["early"] in page
    assert "Due <" in page
    assert "by Oct 15" in page
    current = program.crew.get("/due?state=current").text
    assert at.tags["good"] in current
    assert at.tags["early"] not in current


def test_the_page_shows_another_day(program: Running) -> None:
    at = mixed(program)
    page = program.crew.get("/due?on=2026-12-01&state=overdue").text
    assert "Due on Tue Dec 1" in page
    assert all(at.tags[label] in page for label in ("good", "early"))


def test_a_long_walk_is_cut_and_goes_on(program: Running) -> None:
    truck(program, *[(f"cable {number:03}", f"Frame {number % 4}", 10) for number in range(60)])
    for on in ("", "on=2026-12-05&"):
        first = program.crew.get(f"/due?{on}").text
        following = first.partition('<a class="btn plain" href="/due?after=')[2].partition('"')[0].replace("&amp;", "&")
        second = program.crew.get(f"/due?after={following}").text
        cables = [page.count("<b>cable ") for page in (first, second)]
        assert cables == [50, 10]


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"on": "tomorrow"}, "on"),
        ({"on": "2026-13-01"}, "on"),
        ({"state": "late"}, "state"),
        ({"after": "x"}, "after"),
        ({"state": "due", "after": "x"}, "after"),
        ({"limit": "0"}, "limit"),
        ({"limit": "201"}, "limit"),
        ({"limit": "many"}, "limit"),
    ],
)
def test_a_wrong_question_is_told_by_its_field(program: Running, asked: dict[str, str], field: str) -> None:
    answer = program.viewer.get("/api/v1/due", params=asked)
    assert answer.status_code == 422
    assert [error["field"] for error in answer.json()["errors"]] == [field]


def test_a_wrong_day_is_told_beside_its_field(program: Running) -> None:
    answer = program.crew.get("/due?on=soon")
    assert answer.status_code == 422
    assert 'id="f-on-error"' in answer.text


def test_an_empty_program_has_nothing_due(program: Running) -> None:
    answer = program.viewer.get("/api/v1/due").json()
    assert answer == {
        "on": "2026-09-21",
        "as_of": "2026-09-21",
        "left": 0,
        "counts": dict.fromkeys(DueState, 0),
        "items": {state: [] for state in DueState},
        "next": {},
    }
    assert "No gear yet" in program.crew.get("/due").text


def test_strangers_see_nothing(program: Running) -> None:
    assert program.stranger.get("/due").status_code == 401
    assert program.stranger.get("/api/v1/due").status_code == 401


def test_days_go_by_and_the_cache_follows(program: Running) -> None:
    at = mixed(program)
    counted = []
    for _ in range(3):  # September 21, November 5, December 20
        counted.append(program.viewer.get("/api/v1/due").json()["counts"])
        program.clock.ahead(days=45)
    assert all(one != other for one, other in pairwise(counted))
    assert counted[-1]["overdue"] == 2
    assert at.program.viewer.get("/api/v1/due", params={"on": "2026-09-21"}).json()["counts"] == counted[0]


def test_what_is_blocked_says_by_what_and_the_way_out(program: Running) -> None:
    at = mixed(program)
    broken, mended = (
        "It failed and is not repaired: log its repair",
        "Repaired, but no pass proves it yet: test it",
    )
    for path in ("/due", "/due?state=blocked", "/gear?due=blocked", "/gear"):
        page = program.crew.get(path).text
        assert (page.count(broken), page.count(mended)) == (1, 1), path
    assert "until its repair is logged and a test passes" in program.crew.get("/due").text
    for label, words, way in (
        ("broken", broken, "open fault, which blocks it"),
        ("mended", mended, "blocked until"),
    ):
        code = at.tags[label]
        assert words in program.crew.get(f"/gear/{code}").text
        assert way in program.crew.get(f"/t/{code}").text
    assert broken not in program.crew.get(f"/gear/{at.tags['good']}").text
    at.passes("mended")
    assert mended not in program.crew.get("/due").text
    with program.store.reading() as db:
        place = place_named(db, "Frame 2")
    assert place is not None
    assert broken in program.crew.get(f"/places/{place.id}/walk").text
