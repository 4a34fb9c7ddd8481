"""Removing a place: what stands in its way, and what its history still says."""

import re
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from uuid import UUID

import pytest
from httpx2 import Response
from sqlalchemy import select

from service.crew.core import Actor, Role, Who
from service.crew.models import AuditEntry
from service.crew.queries import first_lead
from service.gear import queries as gear
from service.gear.actions import place_for
from service.gear.models import Place
from service.home.place import actions, queries
from tests.support.program import Running, op
from tests.testlog.support import ZONE


def add_place(program: Running, name: str) -> str:
    """A new place; its id."""
    program.lead.post("/places", data={"op": op(), "name": name, "kind": "frame"})
    return place_id(program, name)


def place_id(program: Running, name: str) -> str:
    with program.store.reading() as db:
        place = gear.place_named(db, name)
    assert place is not None
    return str(place.id)


def hub_at(program: Running, place: str, place_b: str = "") -> str:
    """A hub that lives there; its code."""
    body = {"id": op(), "kind": "cable", "length": "5 ft", "place": place, "place_b": place_b}
    code: str = program.lead.post("/api/v1/items", json=body).json()[0]["code"]
    return code


def move(program: Running, code: str, place: str) -> Response:
    data = {"op": op(), "place": place, "place_kind": "frame", "place_b": ""}
    answer = program.lead.post(f"/gear/{code}/place", data=data)
    assert answer.status_code == 303
    return answer


def remove(program: Running, place: str) -> int:
    return program.lead.post(f"/places/{place}/remove", data={"op": op()}).status_code


def test_a_place_is_asked_about_first_and_then_is_nowhere(program: Running) -> None:
    here = add_place(program, "Old rack")
    assert f'href="/places/{here}/remove"' in program.lead.get("/places").text
    assert f'href="/places/{here}/remove"' in program.lead.get(f"/places/{here}").text
    asked = program.lead.get(f"/places/{here}/remove").text
    assert "Remove Old rack?" in asked
    assert remove(program, here) == 303
    for path in ("/places", "/gear/new", "/sessions/new", "/tags/places", "/gear"):
        assert "Old rack" not in program.lead.get(path).text, path
    for path in (f"/places/{here}", f"/places/{here}/walk", f"/places/{here}/remove"):
        gone = program.lead.get(path)
        assert (gone.status_code, "Old rack was removed" in gone.text) == (410, True), path
    assert program.lead.get("/gear?place=Old rack").status_code == 422
    with program.store.reading() as db:
        noted = db.scalars(select(AuditEntry).where(AuditEntry.action == "place.removed")).one()
    assert noted.subject == "Old rack"


def test_a_second_removal_changes_nothing(program: Running) -> None:
    here, sent = add_place(program, "Old rack"), {"op": op()}
    for _ in range(2):
        assert program.lead.post(f"/places/{here}/remove", data=sent).status_code == 303
    assert remove(program, here) == 410


def test_its_name_can_be_used_again_and_its_history_stays(program: Running) -> None:
    code = hub_at(program, "Frame 1")
    move(program, code, "Frame 2")
    before = place_id(program, "Frame 1")
    assert remove(program, before) == 303
    assert "Frame 1" in program.lead.get(f"/gear/{code}").text  # it lived there
    assert place_id(program, "Frame 2")
    again = add_place(program, "frame 1")
    assert again != before
    program.lead.post(f"/places/{again}", data={"op": op(), "name": "Frame 1", "kind": "case"})
    with program.store.reading() as db:
        assert [place.name for place in gear.places(db)] == ["Frame 2", "Frame 1"]
        assert len(db.scalars(select(Place.id).where(Place.name == "Frame 1")).all()) == 2
    sheet = program.lead.get("/exchange/gear.csv").text
    assert "Frame 2" in sheet
    assert "Frame 1" not in sheet


@pytest.mark.parametrize("end", ["A", "B"])
def test_nothing_is_removed_where_something_lives(program: Running, end: str) -> None:
    code = hub_at(program, *(("Frame 1", "") if end == "A" else ("Frame 2", "Frame 1")))
    here = place_id(program, "Frame 1")
    asked = program.lead.get(f"/places/{here}/remove").text
    assert f"{code} lives here" in asked
    assert 'id="remove"' not in asked
    refused = program.lead.post(f"/places/{here}/remove", data={"op": op()})
    assert refused.status_code == 409
    assert f"{code} lives here" in refused.text
    assert f'href="/places/{here}/remove"' not in program.lead.get("/places").text
    move(program, code, "")
    assert remove(program, here) == 303


def test_retired_gear_that_is_kept_there_counts_too(program: Running) -> None:
    code = hub_at(program, "Frame 1")
    program.lead.post(f"/t/{code}/state", data={"op": op(), "to": "retired", "reason": "Worn out."})
    assert remove(program, place_id(program, "Frame 1")) == 409


def test_an_open_session_holds_its_place(program: Running) -> None:
    code = hub_at(program, "Frame 1")
    here = place_id(program, "Frame 1")
    data = {"op": op(), "on": "2026-09-21", "why": "lives here", "place": here, "title": "Tuesday"}
    session = program.lead.post("/sessions", data=data).headers["location"]
    move(program, code, "Frame 2")
    refused = program.lead.post(f"/places/{here}/remove", data={"op": op()})
    assert (refused.status_code, "The session “Tuesday” is held here" in refused.text) == (409, True)
    close = program.lead.post(f"{session}/close", data={"op": op()})
    assert close.status_code == 303, close.text
    assert remove(program, here) == 303
    assert "Frame 1" in program.viewer.get("/sessions").text  # where it was held


def test_its_tag_leads_nowhere_afterwards_and_says_why(program: Running) -> None:
    here = add_place(program, "Old rack")
    program.lead.post("/tags/places", data={"op": op(), "place": here})
    (tag,) = re.findall(r'name="code" value="(\w{6})"', program.lead.get("/tags").text)
    assert f"{tag[:3]}</span><span>{tag[3:]}" in program.lead.get(f"/places/{here}/remove").text
    assert remove(program, here) == 303
    scanned = program.crew.get(f"/t/{tag}")
    assert (scanned.status_code, "a place that was removed" in scanned.text) == (410, True)
    assert tag not in program.lead.get("/tags").text


def test_no_session_is_held_at_a_place_that_was_removed(program: Running) -> None:
    code, here = hub_at(program, "Case"), add_place(program, "Old rack")
    assert remove(program, here) == 303
    refused = open_session(program, here, code)
    assert (refused.status_code, "no such place any more" in refused.text) == (422, True)


def open_session(program: Running, place: str, code: str) -> Response:
    data = {"op": op(), "on": "2026-09-21", "place": place, "title": "Tuesday", "codes": code}
    return program.lead.post("/sessions", data=data)


def removed_meanwhile(program: Running, place: str, do: Callable[[], Response]) -> Response:
    """The answer to what is asked for just while the place is removed."""
    with ThreadPoolExecutor(1) as phone:
        with program.store.writing() as db:
            lead = first_lead(db)
            assert lead is not None
            who = Who(lead.id, lead.display_name, Role.LEAD)
            actions.end(db, UUID(place), Actor(who, program.clock.now, ZONE))
            asked = phone.submit(do)
            with suppress(TimeoutError):  # it waits for the removal, or has not got that far
                asked.result(0.2)
        return asked.result()


def test_no_session_and_no_tag_comes_to_a_place_just_while_it_is_removed(program: Running) -> None:
    code, here, there = (
        hub_at(program, "Case"),
        add_place(program, "Old rack"),
        add_place(program, "Old shelf"),
    )
    refused = removed_meanwhile(program, here, lambda: open_session(program, here, code))
    assert (refused.status_code, "no such place any more" in refused.text) == (422, True)
    sent = {"op": op(), "place": there}
    gone = removed_meanwhile(program, there, lambda: program.lead.post("/tags/places", data=sent))
    assert (gone.status_code, "Old shelf was removed" in gone.text) == (410, True)


def test_what_is_removed_keeps_its_name(program: Running) -> None:
    here = add_place(program, "Old rack")
    sent = {"op": op(), "name": "New rack", "kind": "case"}
    gone = removed_meanwhile(program, here, lambda: program.lead.post(f"/places/{here}", data=sent))
    assert (gone.status_code, "Old rack was removed" in gone.text) == (410, True)


def test_what_comes_to_a_place_just_while_it_is_removed_gets_a_place_that_stands(program: Running) -> None:
    here = add_place(program, "Old rack")
    code = hub_at(program, "Case")
    moved = removed_meanwhile(program, here, lambda: move(program, code, "Old rack"))
    assert moved.status_code == 303
    stands = place_id(program, "Old rack")
    assert stands != here
    with program.store.reading() as db:
        assert queries.codes_at(db, UUID(stands)) == [code]


def test_places_change_their_turns_while_something_is_put_between_them(program: Running) -> None:
    front, back = add_place(program, "Front"), add_place(program, "Back")
    # Rows are written in the order of their ids, and held here the other way round.
    first, second = ("Front", "Back") if UUID(front) < UUID(back) else ("Back", "Front")
    with ThreadPoolExecutor(1) as phone:
        with program.store.writing() as db:
            place_for(db, second, None, program.clock.now)
            sent = {"op": op(), "to": "earlier"}
            moved = phone.submit(program.lead.post, f"/places/{back}/move", data=sent)
            with suppress(TimeoutError):  # on SQLite it waits for its turn at writing
                moved.result(0.3)
            place_for(db, first, None, program.clock.now)
        assert moved.result().status_code == 303
    with program.store.reading() as db:
        assert [place.name for place in gear.places(db)] == ["Back", "Front"]
