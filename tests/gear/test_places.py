"""Places: the walk from one to the next."""

import re

import pytest

from service.gear import queries as gear
from tests.support.program import Running, op


def walk(program: Running) -> list[str]:
    """The names of the places, in walking order."""
    with program.store.reading() as db:
        return [place.name for place in gear.places(db)]


def place_id(program: Running, name: str) -> str:
    """The id of a place."""
    with program.store.reading() as db:
        place = gear.place_named(db, name)
    assert place is not None
    return str(place.id)


def add(program: Running, *names: str) -> None:
    """Add places, in this order."""
    for name in names:
        answer = program.lead.post("/places", data={"op": op(), "name": name, "kind": "frame"})
        assert answer.status_code == 303


def test_places_come_in_the_order_of_the_walk_and_move_in_it(program: Running) -> None:
    add(program, "Frame 1", "Frame 2", "Case 1")
    program.lead.post(f"/places/{place_id(program, 'Case 1')}/move", data={"op": op(), "to": "earlier"})
    assert walk(program) == ["Frame 1", "Case 1", "Frame 2"]
    program.lead.post(f"/places/{place_id(program, 'Frame 1')}/move", data={"op": op(), "to": "later"})
    assert walk(program) == ["Case 1", "Frame 1", "Frame 2"]
    for _ in range(3):
        program.lead.post(f"/places/{place_id(program, 'Case 1')}/move", data={"op": op(), "to": "earlier"})
    assert walk(program) == ["Case 1", "Frame 1", "Frame 2"]


def test_a_name_leads_to_the_walk_through_the_place(program: Running) -> None:
    add(program, "Frame 1")
    there = f"/places/{place_id(program, 'Frame 1')}/walk"
    for who in (program.lead, program.crew, program.viewer):
        assert f'<a href="{there}"><b>Frame 1</b>' in who.get("/places").text
    new = {"id": op(), "kind": "cable", "wiring": "xlr3", "length": "10 ft", "place": "Frame 1"}
    [item] = program.lead.post("/api/v1/items", json=new).json()
    page = program.crew.get(there).text
    assert f'href="/t/{item["code"]}/test"' in page
    assert 'href="/gear?place=Frame+1"' in page
    assert "retired or lost" not in page
    gone = {"op": op(), "state": "retired", "reason": "worn out"}
    assert program.lead.post(f"/t/{item['code']}/state", data=gone).status_code == 303
    page = program.crew.get(there).text  # the list of places counts it still
    assert "0 items live here. By the book 1 more does, retired or lost." in page
    assert 'href="/gear?place=Frame+1"' in page


def test_a_place_is_known_in_whatever_letters(program: Running) -> None:
    add(program, "Étagère 1")
    again = program.lead.post("/places", data={"op": op(), "name": "étagère 1", "kind": "frame"})
    assert again.status_code == 422
    assert walk(program) == ["Étagère 1"]


def test_the_page_counts_what_lives_where_a_spanning_cable_at_both(program: Running) -> None:
    for place, place_b, count in (("Frame 1", "", 2), ("Frame 1", "Frame 2", 3)):
        program.lead.post(
            "/api/v1/items",
            json={
                "id": op(),
                "kind": "cable",
                "length": "5 ft",
                "place": place,
                "place_b": place_b,
                "count": count,
            },
        )
    page = program.viewer.get("/places").text
    assert re.findall(r'<b>(Frame \d)</b> <span class="num">(\d) items', page) == [
        ("Frame 1", "5"),
        ("Frame 2", "3"),
    ]


def test_a_name_is_a_place_whatever_its_case(program: Running) -> None:
    add(program, "Frame 1")
    program.lead.post("/api/v1/items", json={"id": op(), "kind": "hub", "place": "frame 1"})
    assert walk(program) == ["Frame 1"]


def test_a_place_is_renamed_and_keeps_what_lives_there(program: Running) -> None:
    [hub] = program.lead.post("/api/v1/items", json={"id": op(), "kind": "hub", "place": "Frame 1"}).json()
    address = f"/places/{place_id(program, 'Frame 1')}"
    assert program.lead.get(address).status_code == 200
    assert program.lead.post(address, data={"op": op(), "name": "Rack 2", "kind": "case"}).status_code == 303
    assert program.viewer.get(f"/api/v1/items/{hub['code']}").json()["place"] == "Rack 2"


@pytest.mark.parametrize(
    ("name", "kind", "field", "says"),
    [
        ("", "frame", "name", "Give the place a name"),
        ("F" * 61, "frame", "name", "60 are the most"),
        ("frame 1", "frame", "name", "a place called Frame 1 already"),
        ("Frame 2", "boat", "kind", "frame"),
    ],
)
def test_a_wrong_place_is_told_beside_its_field(program: Running, name: str, kind: str, field: str, says: str) -> None:
    add(program, "Frame 1", "Case 1")
    for address in ("/places", f"/places/{place_id(program, 'Case 1')}"):
        answer = program.lead.post(address, data={"op": op(), "name": name, "kind": kind})
        assert answer.status_code == 422
        assert f'id="f-{field}-error"' in answer.text
        assert says in answer.text
    assert walk(program) == ["Frame 1", "Case 1"]


def test_who_may_do_what_with_places(program: Running) -> None:
    add(program, "Frame 1")
    address = f"/places/{place_id(program, 'Frame 1')}"
    assert program.viewer.get("/places").status_code == 200
    assert program.stranger.get("/places").status_code == 401
    assert program.crew.get(address).status_code == 403
    for path in ("/places", address, f"{address}/move"):
        assert program.crew.post(path, data={"op": op(), "name": "X", "kind": "frame"}).status_code == 403
    assert program.lead.get(f"/places/{op()}").status_code == 404
