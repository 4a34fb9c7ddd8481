"""A session: its worklist, its progress, what comes next, its end."""

import re
from datetime import timedelta
from typing import Any
from uuid import UUID

from service.gear.actions import place
from service.gear.core import ItemState
from service.gear.queries import place_named
from service.testlog.actions import change_state
from tests.support.program import Running, form_of_a_test, op
from tests.testlog.support import OPEN_2, ZONE, Bench, bench


def placed(program: Running, *places: str) -> Bench:
    """One cable in each place."""
    at = bench(program, *["xlr3"] * len(places))
    with program.store.writing() as db:
        for code, name in zip(at.codes, places, strict=True):
            place(db, at.ids[code], name, "", None, program.clock.now)
    return at


def open_one(program: Running, **more: Any) -> str:
    """A session with what usually goes on its list; its address."""
    on = program.clock.now.date().isoformat()
    sent = {
        "op": op(),
        "on": on,
        "title": "Thursday",
        "why": ["overdue", "untested", "due", "after repair"],
        "place": "",
    }
    assert program.lead.get("/sessions/new").status_code == 200
    answer = program.lead.post("/sessions", data=sent | more)
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def listed(page: str) -> list[str]:
    """The codes that the worklist sends to the test form, in its order."""
    return re.findall(r'href="/t/(\w+)/test\?session=', page.split('<div class="foot">')[0])


def test_an_evening(program: Running) -> None:
    at = placed(program, "Rack", "Frame 1", "Frame 1")
    address = open_one(program)
    page = program.crew.get(address).text
    order = listed(page)
    assert order[0] == at.codes[0]  # the first place made is the first of the walk
    assert sorted(order) == sorted(at.codes)
    for done, (code, joined) in enumerate(zip(order, ([], OPEN_2, []), strict=True)):
        assert f"{done} of 3 tested" in program.viewer.get(address).text
        form = program.crew.get(f"/t/{code}/test", params={"session": address.rsplit("/", 1)[1]}).text
        data = form_of_a_test() | {
            "session": address.rsplit("/", 1)[1],
            "verdict": "fail" if joined else "pass",
        }
        data |= {"c1": "-"} if joined else {}
        answer = program.crew.post(f"/t/{code}/test", data=data)
        shown = program.crew.get(answer.headers["location"]).text
        assert "Thursday" in form
        assert ("Next: " in shown) == (done < 2)
        program.clock.ahead(minutes=2)
    page = program.viewer.get(address).text
    assert "2 without a fault, 1 failed, 0 left" in page
    assert re.search(r"<b>Crew</b> <span class=\"num\">3 tested", page)
    assert program.crew.post(f"{address}/close", data={"op": op()}).status_code == 403
    assert program.lead.post(f"{address}/close", data={"op": op()}).status_code == 303
    assert program.lead.post(f"{address}/close", data={"op": op()}).status_code == 409
    assert "Closed " in program.viewer.get(address).text
    assert "3 of 3 tested" in program.viewer.get("/sessions").text


def test_a_scan_on_the_day_counts_in_the_open_session_that_lists_the_item(program: Running) -> None:
    at = placed(program, "Rack")
    address = open_one(program)
    form = program.crew.get(f"/t/{at.codes[0]}/test").text
    assert f'name="session" value="{address.rsplit("/", 1)[1]}"' in form
    program.clock.ahead(days=1)
    assert "Thursday" not in program.crew.get(f"/t/{at.codes[0]}/test").text


def test_the_worklist_takes_what_is_asked_for(program: Running) -> None:
    at = placed(program, "Rack", "Frame 1", "Frame 1", "Case")
    rack, broken, mended, gone = at.codes
    at.test(rack)
    at.test(broken, OPEN_2)
    at.repair(mended)
    with program.store.writing() as db:
        change_state(db, at.ids[gone], ItemState.RETIRED, "worn", at.lead, program.clock.now, ZONE)
    assert listed(program.crew.get(open_one(program)).text) == [mended]
    program.clock.ahead(days=40)
    assert listed(program.crew.get(open_one(program, why="due")).text) == [rack]
    with program.store.reading() as db:
        frame = place_named(db, "Frame 1")
    assert frame is not None
    assert listed(program.crew.get(open_one(program, why="lives here", place=str(frame.id))).text) == [mended]
    nothing = program.lead.post(
        "/sessions", data={"op": op(), "on": "2026-11-01", "why": "suspect", "place": str(frame.id)}
    )
    assert nothing.status_code == 422
    assert "Nothing at Frame 1 needs a test" in nothing.text


def test_a_late_test_through_the_api_counts_and_a_voided_one_does_not(program: Running) -> None:
    at = placed(program, "Rack")
    address = open_one(program)
    program.lead.post(f"{address}/close", data={"op": op()})
    tested_at = program.clock.now - timedelta(hours=1)
    answer = at.test(at.codes[0], session=UUID(address.rsplit("/", 1)[1]), tested_at=tested_at)
    assert "1 of 1 tested" in program.viewer.get(address).text
    at.void(answer["id"])
    assert "0 of 1 tested" in program.viewer.get(address).text


def test_sessions_are_opened_by_leads_and_seen_by_all(program: Running) -> None:
    placed(program, "Rack")
    assert program.crew.get("/sessions/new").status_code == 403
    assert program.viewer.get(open_one(program)).status_code == 200
    assert program.viewer.get("/sessions/nope").status_code == 404
    assert program.stranger.get("/sessions").status_code == 401


def test_a_refused_change_keeps_what_was_ticked_to_come_off(program: Running) -> None:
    at = placed(program, "Rack", "Rack")
    keep, drop = (str(at.ids[code]) for code in at.codes)
    address = open_one(program)
    sent = {"op": op(), "title": "Thursday", "on": "no day", "drop": drop}
    refused = program.lead.post(f"{address}/change", data=sent)
    assert refused.status_code == 422
    assert f'name="drop" value="{drop}" checked' in refused.text
    assert f'name="drop" value="{keep}">' in refused.text
    assert f'name="op" value="{sent["op"]}"' in refused.text
