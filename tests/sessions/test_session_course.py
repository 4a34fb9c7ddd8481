"""The course of a session: planned and changed, joined by helpers, watched, closed, and read a year later."""

import re
from datetime import timedelta
from typing import Any
from uuid import UUID

from service.gear.actions import place
from service.gear.core import ItemState
from service.testlog.actions import change_state
from tests.support.program import BASE, Running, op
from tests.testlog.support import OPEN_2, ZONE, Bench, bench


def placed(program: Running, *places: str) -> Bench:
    """One cable in each place."""
    at = bench(program, *["xlr3"] * len(places))
    with program.store.writing() as db:
        for code, name in zip(at.codes, places, strict=True):
            place(db, at.ids[code], name, "", None, program.clock.now)
    return at


def planned(program: Running, **more: Any) -> str:
    data = {"op": op(), "on": "2026-09-21", "title": "Monday", "kind": "test", "place": "", "why": "untested"}
    answer = program.lead.post("/sessions", data=data | more)
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def key(address: str) -> UUID:
    return UUID(address.rsplit("/", 1)[1])


def listed(program: Running, address: str) -> list[str]:
    return re.findall(r'href="/t/(\w+)/test\?session=', program.crew.get(address).text)


def test_a_list_by_hand_in_walking_order(program: Running) -> None:
    at = placed(program, "Rack", "Frame 1", "Case")
    rack, frame, case = at.codes
    with program.store.writing() as db:
        change_state(db, at.ids[frame], ItemState.QUARANTINED, "so", at.lead, program.clock.now, ZONE)
    typed = f"{case} https://cables.test/t/{rack.lower()}, {frame[:3]} {frame[3:]}"
    assert listed(program, planned(program, why=[], codes=typed)) == [rack, frame, case]
    wrong = program.lead.post("/sessions", data={"op": op(), "on": "2026-09-21", "codes": "QQQQQQ"})
    assert wrong.status_code == 422
    assert "QQQQQQ" in wrong.text
    with program.store.writing() as db:
        change_state(db, at.ids[case], ItemState.LOST, "so", at.lead, program.clock.now, ZONE)
    lost = program.lead.post("/sessions", data={"op": op(), "on": "2026-09-21", "codes": case})
    assert f"{case} is lost" in lost.text


def test_what_was_swapped_out_comes_on_the_list(program: Running) -> None:
    at = placed(program, "Rack", "Case", "Frame 1")
    bad, spare, broken = at.codes
    with program.store.writing() as db:
        change_state(db, at.ids[spare], ItemState.SPARE, "so", at.lead, program.clock.now, ZONE)
    program.crew.post("/api/v1/swaps", json={"id": op(), "bad": bad, "spare": spare})
    at.test(broken, OPEN_2)
    assert listed(program, planned(program, why="swapped out")) == [bad]


def test_a_planned_one_is_changed_until_it_has_begun(program: Running) -> None:
    at = placed(program, "Rack", "Frame 1", "Case")
    rack, frame, case = at.codes
    at.test(frame)
    address = planned(program)
    assert listed(program, address) == [rack, case]
    change = {"op": op(), "title": "Tuesday", "on": "2026-09-22", "note": "Bring lamps.", "codes": frame}
    change["drop"] = str(at.ids[case])
    for _ in "ab":
        assert program.lead.post(f"{address}/change", data=change).status_code == 303
    assert listed(program, address) == [rack, frame]
    page = program.crew.get(address).text
    assert "Tuesday" in page
    assert "Bring lamps." in page
    empty = change | {"op": op(), "codes": "", "drop": [str(at.ids[code]) for code in at.codes]}
    assert "Nothing would be left" in program.lead.post(f"{address}/change", data=empty).text
    at.test(rack, session=key(address))
    late = program.lead.post(f"{address}/change", data=change | {"op": op(), "drop": str(at.ids[frame])})
    assert late.status_code == 409
    assert "has begun" in late.text
    added = program.lead.post(f"{address}/change", data=change | {"op": op(), "codes": case, "drop": ""})
    assert added.status_code == 303
    assert listed(program, address) == [frame, case]
    assert program.crew.post(f"{address}/change", data=change).status_code == 403
    program.lead.post(f"{address}/close", data={"op": op()})
    assert program.lead.get(f"{address}/change").status_code == 409


def test_helpers_join_by_the_leads_screen(program: Running) -> None:
    placed(program, "Rack")
    address = planned(program)
    page = program.lead.post(f"{address}/pass").text
    assert "<svg" in page
    (secret,) = re.findall(rf"{re.escape(BASE)}/join\?next={address}#(\w+)", page)
    data = {"pass": secret, "name": "Mira", "next": address}
    joined = program.stranger.post("/join", data=data)
    assert joined.headers["location"] == address
    assert "Give me the next" in program.stranger.get(address).text
    assert program.crew.post(f"{address}/pass").status_code == 403


def test_how_it_stands_for_everybody(program: Running) -> None:
    at = placed(program, "Rack", "Rack", "Case", "Case")
    one, two, three, _ = at.codes
    address = planned(program)
    part = program.viewer.get(f"{address}/progress").text
    assert "0 of 4 tested" in part
    assert "<html" not in part
    program.crew.post(f"{address}/next", data={"op": op()})
    part = program.viewer.get(f"{address}/progress").text
    assert any(f'now at 10 ft cable <span class="code"><span>{code[:3]}' in part for code in (one, two))
    at.test(one, session=key(address))
    program.clock.ahead(minutes=5)
    at.test(two, OPEN_2, session=key(address))
    program.clock.ahead(minutes=5)
    part = program.viewer.get(f"{address}/progress").text
    assert "1 without a fault, 1 failed, 2 left" in part
    assert "0.2 a minute lately, 0.2 since the start." in part
    # two in ten minutes, two left: ten minutes from 6:10 pm, on the clock at the truck
    assert "At this pace done <b>Mon Sep 21, 6:20 pm</b>" in part
    assert '<b>Lead</b> <span class="num">2 tested</span>' in part
    assert '<dt>Rack</dt><dd class="num">2 of 2</dd><dt>Case</dt><dd class="num">0 of 2</dd>' in part
    at.test(three, session=key(address))
    assert "3 of 4 tested" in program.viewer.get(f"{address}/progress").text
    assert program.stranger.get(f"{address}/progress").status_code == 401


def test_the_summary_is_read_by_next_years_lead(program: Running) -> None:
    at = placed(program, "Rack", "Rack", "Case", "Frame 1")
    good, bad, left, besides = at.codes
    at.test(besides)
    address = planned(program)
    program.clock.ahead(minutes=10)
    at.test(good, session=key(address), note="label is worn")
    program.clock.ahead(minutes=47)
    at.test(bad, OPEN_2, session=key(address))
    at.test(besides, session=key(address), tested_at=program.clock.now - timedelta(minutes=1))
    form = program.lead.get(f"{address}/close").text
    assert "Left out" in form
    close = {"op": op(), "note": "Take two lamps next time."}
    for _ in "ab":
        assert program.lead.post(f"{address}/close", data=close).status_code == 303
    again = program.lead.post(f"{address}/close", data={"op": op(), "note": ""})
    assert again.status_code == 409
    assert program.lead.get(f"{address}/close").headers["location"] == address
    program.clock.ahead(days=330)
    page = program.viewer.get(address).text
    for told in (
        "by Lead",
        "Take two lamps next time.",
        "2 of 3 tested",
        "1 besides the list",
        "It took 47 minutes",
        "label is worn",
        "Conductor 2 (hot) is open",
        "Left out",
    ):
        assert told in page, told
    assert re.search(r"<dt>Lead</dt><dd class=\"num\">3</dd>", page)
    assert f"/sessions/new?codes={left}" in program.lead.get(address).text
    assert left in program.lead.get(f"/sessions/new?codes={left}").text
    assert "data-progress" not in page


def test_what_comes_in_late_is_counted_in_the_summary(program: Running) -> None:
    at = placed(program, "Rack")
    address = planned(program)
    during = program.clock.now + timedelta(minutes=5)
    program.clock.ahead(minutes=10)
    program.lead.post(f"{address}/close", data={"op": op()})
    assert "1 left" in program.viewer.get(address).text
    program.clock.ahead(hours=2)
    at.test(at.codes[0], OPEN_2, session=key(address), tested_at=during)
    page = program.viewer.get(address).text
    assert "1 failed, 0 left" in page
    assert "1 came in from phones after it was closed; counted." in page
    assert "Left out" not in page
