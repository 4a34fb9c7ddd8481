"""The page that plans evenings, and the sessions that it makes."""

import re
from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import select

from service.schedule.planning.actions import work
from service.testlog.models import WorkItem, WorkSession
from tests.home.support import Truck, truck
from tests.support.program import Running, form_of_a_test, op
from tests.testlog.support import OPEN_2, ZONE
from tests.wear.support import item, worn_out

GEAR = [(f"cable {number}", f"Frame {1 + number // 2}", 10) for number in range(10)]
EVENING = {"on1": "2026-09-24", "minutes1": "10", "helpers1": "2"}


def shown(program: Running, **rows: str) -> str:
    answer = program.lead.get("/plan", params=rows)
    assert answer.status_code == 200, answer.text
    return str(answer.text)


def worklists(program: Running) -> dict[date, int]:
    with program.store.reading() as db:
        rows = db.execute(select(WorkSession.on, WorkItem.item_id).join(WorkItem)).all()
    return {on: sum(other == on for other, _ in rows) for on, _ in rows}


def waiting(program: Running) -> Truck:
    """Ten cables on five frames, none of which was ever tested: two minutes each."""
    return truck(program, *GEAR)


def test_ten_cables_in_ten_minutes_by_two_helpers(program: Running) -> None:
    waiting(program)
    assert "10 items need a test: about 20 minutes for one helper" in shown(program)
    page = shown(program, **EVENING)
    for words in (
        "This is enough",
        "Thu Sep 24",
        "10 items; all done after",
        "Frame 1 to Frame 3",
        "Frame 3",
    ):
        assert words in page
    assert worklists(program) == {}  # nothing is written by looking


def test_the_ways_out_are_told_in_words(program: Running) -> None:
    at = waiting(program)
    at.event("Lantern Field", date(2026, 10, 3))
    page = re.sub(r"\s+", " ", shown(program, **EVENING | {"helpers1": "1"}))
    assert "This is not enough" in page
    assert "<b>Before Lantern Field</b> on Sat Oct 3: 5 items, about 10 minutes of work for one helper." in page
    assert (
        "one more helper on Thu Sep 24, or one more evening of 10 minutes with 1 helper, Fri Oct 2 at the latest."
        in page
    )
    assert "Not covered" in page
    page = shown(program, **EVENING | {"on1": "2026-10-05"})
    assert "Planned, but too late" in page


def test_an_event_is_told_with_its_day_whatever_it_is_called(program: Running) -> None:
    at = waiting(program)
    at.event("Fall roundup", date(2026, 10, 3))
    page = re.sub(r"\s+", " ", shown(program, **EVENING | {"helpers1": "1"}))
    assert "<b>Before Fall roundup</b> on Sat Oct 3: 5 items" in page


def test_without_an_event_the_round_is_what_counts(program: Running) -> None:
    waiting(program)
    page = re.sub(r"\s+", " ", shown(program, **EVENING | {"minutes1": "6"}))
    assert "Before the end of round 1</b>, Thu Oct 15: 4 items, about 8 minutes of work for one helper." in page


def test_the_sessions_are_made_once_with_their_worklists(program: Running) -> None:
    waiting(program)
    rows = EVENING | {"minutes1": "6", "on2": "2026-09-28", "minutes2": "30", "helpers2": "1"}
    page = shown(program, **rows)
    sent = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', page))
    assert sent.pop("op")
    assert sent == rows
    sent["op"] = op()
    for _ in range(2):  # sending twice does it once
        answer = program.lead.post("/plan", data=sent)
        assert (answer.status_code, answer.headers["location"]) == (303, "/sessions")
    assert worklists(program) == {date(2026, 9, 24): 6, date(2026, 9, 28): 4}
    page = program.lead.get("/sessions").text
    assert "Tests on Thu Sep 24" in page
    address = re.findall(r'href="(/sessions/[\w-]+)"><b>Tests on Thu Sep 24', page)[0]
    assert "Helper 1: Frame 1" in program.crew.get(address).text
    page = shown(program)
    assert "Nothing to plan" in page
    assert "10 items are on the list of an open session" in page
    again = shown(program, **rows, again="yes")
    assert "10 of them are on the list of an open session already" in re.sub(r"\s+", " ", again)
    assert '<input type="hidden" name="again" value="yes">' in again
    refused = program.lead.post("/plan", data=sent | {"op": op()})
    assert refused.status_code == 409
    assert "Nothing is left to plan" in refused.text


def test_what_becomes_due_by_the_last_evening_is_planned_no_earlier(program: Running) -> None:
    at = waiting(program)
    at.passes(*[label for label, _, _ in GEAR])
    assert "Nothing to plan" in shown(program, **EVENING)
    two = EVENING | {"on2": "2026-10-20", "minutes2": "30", "helpers2": "2"}  # round 2 opens on October 16
    page = re.sub(r"\s+", " ", shown(program, **two))
    assert "10 items need a test by Tue Oct 20" in page
    assert "Nothing is left to do on this evening." in page
    assert "This is enough" in page
    assert "Everything that needs a test by Tue Oct 20 is tested before its round closes" in page


def test_what_is_due_has_to_be_tested_before_the_event_too(program: Running) -> None:
    """Round 2 closes on November 30, and an event is on October 24: an evening after it is too late for it."""
    at = waiting(program)
    at.passes(*[label for label, _, _ in GEAR])
    at.event("Lantern Field", date(2026, 10, 24))
    program.clock.ahead(days=26)  # October 17
    late = re.sub(r"\s+", " ", shown(program, on1="2026-10-26", minutes1="60", helpers1="3"))
    assert "This is not enough" in late
    assert "<b>Before Lantern Field</b> on Sat Oct 24: 10 items" in late
    assert "one more evening of 10 minutes with 3 helpers, Fri Oct 23 at the latest." in late
    assert "This is enough" in shown(program, on1="2026-10-23", minutes1="10", helpers1="3")


def test_an_evening_before_the_round_opens_is_told_from_when_on(program: Running) -> None:
    at = waiting(program)
    at.passes(*[label for label, _, _ in GEAR[1:]])
    at.event("Lantern Field", date(2026, 10, 24))
    early = re.sub(r"\s+", " ", shown(program, **EVENING))
    assert "Enough so far" in early
    assert "10 items become due from Fri Oct 16 on, before Lantern Field: plan an evening for them" in early
    page = re.sub(r"\s+", " ", shown(program, **EVENING, on2="2026-10-16", minutes2="5", helpers2="1"))
    assert "2 more evenings" not in page
    assert "one more evening of 10 minutes with 2 helpers, not before Sat Oct 17 and Fri Oct 23 at the latest." in page


def test_that_one_more_evening_will_not_do_is_said_of_how_long_a_one(program: Running) -> None:
    at = waiting(program)
    at.passes(*[label for label, _, _ in GEAR[1:]])
    at.event("Lantern Field", date(2026, 10, 15))  # the first one is due before it, the others after round 2 opens
    page = re.sub(r"\s+", " ", shown(program, on1="2026-10-20", minutes1="5", helpers1="1"))
    assert "One more evening will not do, not even one of 180 minutes with 1 helper." in page
    assert "2 more evenings of 180 minutes with 1 helper: Wed Oct 14," in page


def test_what_waits_for_a_repair_is_not_planned(program: Running) -> None:
    at = truck(program, ("broken", "Frame 1", 10), ("repaired", "Frame 1", 10))
    for label in ("broken", "repaired"):
        at.test(at.tags[label], OPEN_2)
    program.clock.ahead(minutes=1)
    at.repair(at.tags["repaired"])
    page = shown(program, **EVENING)
    assert "1 item needs a test" in page
    assert "after repair" in page


def test_minutes_come_from_the_sessions(program: Running) -> None:
    at = waiting(program)
    sent = {"op": op(), "on": "2026-09-21", "why": ["untested"], "place": "", "title": "Monday"}
    session = program.lead.post("/sessions", data=sent).headers["location"].rpartition("/")[2]
    for label, _, _ in [*GEAR, *GEAR[:1]]:
        at_once = form_of_a_test() | {"session": session, "verdict": "pass"}
        assert program.crew.post(f"/t/{at.tags[label]}/test", data=at_once).status_code == 303
        program.clock.ahead(seconds=61)
    program.clock.ahead(days=25)  # round 2 has opened: all ten are due again
    page = shown(program, on1="2026-10-20", minutes1="60", helpers1="1")
    assert "about 11 minutes for one helper" in re.sub(r"\s+", " ", page)  # 10 items at 61 s


def test_the_risk_of_what_is_due_comes_from_the_log(program: Running) -> None:
    """Round 2: five are due, and how cables wore out so far says how likely each has failed since its last pass."""
    at = worn_out(program, 5, 12)
    program.clock.ahead(days=10)
    at.passes(*[f"cable {number}" for number in range(5, 12)])  # round 2 runs since October 16
    shown(program)  # the day has changed since
    with program.store.reading() as db:
        soon, late = (work(db, day, day, ZONE, again=False) for day in (date(2026, 10, 27), date(2026, 11, 25)))
    assert {task.item for task in soon.tasks} == {item(at, f"cable {number}") for number in range(12, 17)}
    assert all(0 < task.risk < 1 and round(task.risk * 20) == task.risk * 20 for task in soon.tasks)
    assert min(task.risk for task in late.tasks) > max(task.risk for task in soon.tasks)


@pytest.mark.parametrize(
    ("more", "field", "words"),
    [
        ({"on1": ""}, "on1", "Enter the day."),
        ({"on1": "soon"}, "on1", "is not a date"),
        ({"on1": "2026-09-20"}, "on1", "is over"),
        ({"on1": "2028-09-20"}, "on1", "more than a year ahead"),
        ({"minutes1": ""}, "minutes1", "Enter how many minutes"),
        ({"minutes1": "an hour"}, "minutes1", "is not a number of minutes"),
        ({"minutes1": "4"}, "minutes1", "From 5 to 600 minutes"),
        ({"minutes1": "601"}, "minutes1", "From 5 to 600 minutes"),
        ({"helpers1": ""}, "helpers1", "Enter how many helpers"),
        ({"helpers1": "0"}, "helpers1", "From 1 to 50 helpers"),
        ({"helpers1": "-2"}, "helpers1", "is not a number of helpers"),
        ({"on2": "2026-09-24", "minutes2": "10", "helpers2": "1"}, "on2", "stands here twice"),
    ],
)
def test_a_wrong_row_is_refused_beside_its_field(
    program: Running, more: dict[str, Any], field: str, words: str
) -> None:
    waiting(program)
    for answer in (
        program.lead.get("/plan", params=EVENING | more),
        program.lead.post("/plan", data=EVENING | more | {"op": op()}),
    ):
        assert answer.status_code == 422
        beside = re.search(rf'id="f-{field}-error">.*?<span>(.*?)</span>', answer.text, re.DOTALL)
        assert beside, answer.text
        assert words in beside[1]
    assert worklists(program) == {}


def test_gaps_between_rows_close_and_a_row_stays_free(program: Running) -> None:
    page = shown(program, on4="2026-09-24", minutes4="10", helpers4="2")
    assert re.findall(r'name="on(\d)" value="([\d-]*)"', page)[:3] == [
        ("1", "2026-09-24"),
        ("2", ""),
        ("3", ""),
    ]
    twenty = {
        f"{field}{n}": value
        for n in range(1, 21)
        for field, value in (
            ("on", str(date(2026, 9, 22) + timedelta(n))),
            ("minutes", "10"),
            ("helpers", "2"),
        )
    }
    assert shown(program, **twenty).count('type="date"') == 20


def test_planning_is_the_leads(program: Running) -> None:
    for client, status in ((program.crew, 403), (program.viewer, 403), (program.stranger, 401)):
        assert client.get("/plan").status_code == status
        assert client.post("/plan", data=EVENING | {"op": op()}).status_code == status
