"""Adding gear, over the API and by the page."""

import re
from typing import Any
from uuid import UUID

import pytest
from sqlalchemy import select

from service.gear import queries as gear
from service.gear.models import Item
from service.season import actions as seasons
from service.season.core import Season, split
from service.season.models import ItemSeason
from service.wear.queries import wear_inputs
from tests.support.program import Running, op

CABLE = {
    "kind": "cable",
    "wiring": "xlr3",
    "length": "10 ft",
    "gauge_awg": 24,
    "place": "Frame 3",
    "price": "18.50",
}


def body(**changed: Any) -> dict[str, Any]:
    """A request to add a cable, with something else than usual; None takes a name out."""
    return {name: value for name, value in ({"id": op()} | CABLE | changed).items() if value is not None}


def refusals(answer: Any) -> dict[str, str]:
    """The sentences of a refusal, by field."""
    assert answer.status_code == 422, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    return {error["field"]: error["detail"] for error in answer.json()["errors"]}


def test_one_cable_comes_with_its_code_and_stands_as_untested(program: Running) -> None:
    answer = program.lead.post("/api/v1/items", json=body() | {"label": "", "bought_on": None, "count": 1})
    assert answer.status_code == 201
    [item] = answer.json()
    assert re.fullmatch("[2-9A-Z]{6}", item["code"])
    assert (item["length_mm"], item["length"], item["price"], item["place"]) == (
        3048,
        "10 ft",
        "18.50",
        "Frame 3",
    )
    assert (item["state"], item["due"]["state"], item["in_service_on"]) == (
        "in_service",
        "untested",
        "2026-09-21",
    )
    assert program.viewer.get(f"/api/v1/items/{item['code']}").json() == item


def test_many_that_are_alike_each_get_a_code(program: Running) -> None:
    made = program.lead.post("/api/v1/items", json=body(count=200, spare=True, batch="F")).json()
    assert len({item["code"] for item in made}) == len({item["id"] for item in made}) == 200
    assert {(item["state"], item["batch"]) for item in made} == {("spare", "F")}


def test_a_hub_needs_no_length_and_gets_the_usual_wiring(program: Running) -> None:
    [hub] = program.lead.post("/api/v1/items", json={"id": op(), "kind": "hub"}).json()
    assert (hub["length_mm"], hub["length"], hub["wiring"]) == (None, None, "d25-to-xlr8")
    with program.store.reading() as db:
        ports = gear.ports(db, UUID(hub["id"]))
    # One multicore connector at end A, eight lines at end B, all of them panel sockets.
    assert [(port.end, port.lane, port.gender) for port in ports] == [
        ("A", None, "socket"),
        *(("B", str(lane), "socket") for lane in range(1, 9)),
    ]


def test_what_is_added_answers_to_the_seasons_that_run(program: Running) -> None:
    now, today = program.clock.now, program.clock.now.date()
    with program.store.writing() as db:
        days = today.replace(month=8, day=1), today.replace(month=11, day=15)
        runs = UUID(op())
        seasons.add_season(db, runs, "Fall", Season(*days, split(*days, 2)), [], now)
        past = today.replace(month=1, day=1), today.replace(month=3, day=1)
        seasons.add_season(db, UUID(op()), "Winter", Season(*past, split(*past, 2)), [], now)
    [item] = program.lead.post("/api/v1/items", json=body()).json()
    with program.store.reading() as db:
        rows = db.query(ItemSeason.season_id).filter(ItemSeason.item_id == UUID(item["id"])).all()
    assert [row.season_id for row in rows] == [runs]


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("kind", "snake", "no kind of gear"),
        ("wiring", "xlr5", "no wiring"),
        ("length", "0 ft", "more than nothing"),
        ("length", "900 ft", "longer than any run"),
        ("length", "10", "needs its unit"),
        ("length", "", "needs its length"),
        ("length", 10, "in quotes"),
        ("gauge_awg", 99, "from 0 to 40"),
        ("gauge_awg", "thick", "not a wire gauge"),
        ("count", 0, "from 1 to 200"),
        ("count", 1000, "from 1 to 200"),
        ("count", "a dozen", "whole number"),
        ("count", True, "whole number"),
        ("price", "cheap", "not an amount"),
        ("price", 18.5, "in quotes"),
        ("bought_on", "2026-09-22", "in the future"),
        ("bought_on", "last year", "not a date"),
        ("place", "F" * 61, "60 are the most"),
        ("label", "\u0000", "cannot be shown"),
        ("place_b", "Frame 3", "same place"),
        ("id", "one", "UUID"),
        ("lenght", "10 ft", "not permitted"),
    ],
)
def test_what_is_wrong_is_said_beside_its_field_and_nothing_is_made(
    program: Running, field: str, value: Any, says: str
) -> None:
    answer = program.lead.post("/api/v1/items", json=body() | {field: value})
    sentences = refusals(answer)
    assert list(sentences) == [field]
    assert says in sentences[field]
    assert program.lead.get("/api/v1/items").json()["items"] == []


def test_every_wrong_field_is_told_at_once(program: Running) -> None:
    wrong = body(kind="hat", length="none", price="much", count=0)
    assert set(refusals(program.lead.post("/api/v1/items", json=wrong))) == {
        "kind",
        "length",
        "price",
        "count",
    }


def test_the_same_request_again_changes_nothing_and_another_content_is_refused(program: Running) -> None:
    request = body(count=3)
    first = program.lead.post("/api/v1/items", json=request)
    again = program.lead.post("/api/v1/items", json=request)
    assert (again.status_code, again.json()) == (201, first.json())
    other = program.lead.post("/api/v1/items", json=request | {"length": "15 ft"})
    assert other.status_code == 422
    assert "already used" in other.json()["detail"]
    assert len(program.lead.get("/api/v1/items").json()["items"]) == 3


def test_only_a_lead_adds(program: Running) -> None:
    statuses = [who.post("/api/v1/items", json=body()).status_code for who in (program.crew, program.viewer)]
    assert statuses == [403, 403]
    assert program.stranger.post("/api/v1/items", json=body()).status_code == 401
    assert program.crew.get("/gear/new").status_code == 403


def test_the_page_adds_one_and_shows_it(program: Running) -> None:
    page = program.lead.get("/gear/new")
    assert page.status_code == 200
    answer = program.lead.post(
        "/gear/new",
        data={
            "op": op(),
            "kind": "cable",
            "length": "7'6\"",
            "place": "Frame 1",
            "place_kind": "frame",
            "count": "1",
        },
    )
    assert answer.status_code == 303
    shown = program.viewer.get(answer.headers["location"]).text
    assert "7&#39;6&#34; cable" in shown
    assert "Frame 1" in shown


def test_the_page_adds_many_and_goes_on_to_their_tags(program: Running) -> None:
    answer = program.lead.post("/gear/new", data={"op": op(), "kind": "cable", "length": "10 ft", "count": "12"})
    assert answer.headers["location"] == "/tags?added=12"
    assert "12 tags wait" in program.lead.get("/tags").text


def test_the_page_keeps_what_was_typed_and_says_what_is_wrong(program: Running) -> None:
    typed = {
        "op": op(),
        "kind": "cable",
        "length": "900 ft",
        "count": "1000",
        "label": "Low end",
        "spare": "yes",
    }
    answer = program.lead.post("/gear/new", data=typed)
    assert answer.status_code == 422
    assert 'id="f-length-error"' in answer.text
    assert 'id="f-count-error"' in answer.text
    assert 'value="Low end"' in answer.text
    assert re.search(r'name="spare" value="yes" checked', answer.text)


def worn_as(program: Running) -> dict[str, bool]:
    """Whether wear counts each item as strapped, by its label."""
    with program.store.reading() as db:
        labels = dict(db.execute(select(Item.id, Item.label)).all())
        return {labels[item_id]: item.strapped for item_id, item in wear_inputs(db).items()}


def kinds_of_places(program: Running) -> dict[str, str]:
    """The kind of each place, by its name."""
    with program.store.reading() as db:
        return {place.name: place.kind for place in gear.places(db)}


def test_a_new_place_is_asked_for_its_kind_in_one_tap(program: Running) -> None:
    form = {"op": op(), "kind": "cable", "length": "10 ft", "count": "3", "place": "Frame 9", "label": "a"}
    asked = program.lead.post("/gear/new", data=form)
    assert asked.status_code == 422
    assert "“Frame 9” is a new place. Say what it is." in asked.text
    taps = re.findall(r'<button[^>]* name="place_kind" value="(\w+)"|value="(\w+)" name="place_kind"', asked.text)
    assert next(filter(None, taps[0])) == "frame"
    assert len(taps) == 4
    assert kinds_of_places(program) == {}
    form["op"] = op()
    done = program.lead.post("/gear/new", data=form | {"place_kind": "frame"}, follow_redirects=False)
    assert done.status_code == 303
    assert kinds_of_places(program) == {"Frame 9": "frame"}
    again = program.lead.post("/gear/new", data=form | {"place_kind": "frame"}, follow_redirects=False)
    assert again.headers["location"] == done.headers["location"]
    # A place that is there is not asked for, whatever its case; that of end B is, where it is new.
    both = form | {"op": op(), "label": "b", "place": "frame 9", "place_b": "Vibes crate"}
    asked = program.lead.post("/gear/new", data=both)
    assert "“Vibes crate” is a new place. Say what it is." in asked.text
    program.lead.post("/gear/new", data=both | {"place_b_kind": "case"})
    assert kinds_of_places(program) == {"Frame 9": "frame", "Vibes crate": "case"}
    program.lead.post("/gear/new", data=form | {"op": op(), "label": "c", "strapped": "no"})
    assert worn_as(program) == {"a": True, "b": True, "c": False}


def test_strapped_is_shown_and_changed_where_gear_is_moved(program: Running) -> None:
    [item] = program.lead.post("/api/v1/items", json=body(label="a", strapped=False)).json()
    assert item["strapped"] is False
    assert "Not strapped where it lives." in program.lead.get(f"/gear/{item['code']}").text
    page = program.lead.get(f"/gear/{item['code']}/place").text
    assert re.search(r'name="strapped" value="no"[^>]*checked', page)
    asked = program.lead.post(f"/gear/{item['code']}/place", data={"op": op(), "place": "Rack 7"})
    assert asked.status_code == 422
    assert "“Rack 7” is a new place" in asked.text
    moved = {"op": op(), "place": "Rack 7", "place_kind": "other", "strapped": "yes"}
    program.lead.post(f"/gear/{item['code']}/place", data=moved)
    assert "Strapped where it lives." in program.lead.get(f"/gear/{item['code']}").text
    assert worn_as(program) == {"a": True}


def test_the_api_makes_a_place_of_the_kind_that_is_told_or_that_its_name_says(program: Running) -> None:
    places = {"Frame 3": None, "Spares case": None, "Truck 2, shelf B": None, "Bench": "shelf"}
    for place, kind in places.items():
        made = program.lead.post("/api/v1/items", json=body(label=place, place=place, place_kind=kind)).json()
        assert made[0]["strapped"] is (place == "Frame 3")
    assert kinds_of_places(program) == {
        "Frame 3": "frame",
        "Spares case": "case",
        "Truck 2, shelf B": "shelf",
        "Bench": "shelf",
    }
    assert (
        "must be true, false or null"
        in refusals(program.lead.post("/api/v1/items", json=body(strapped="x")))["strapped"]
    )
    assert (
        "is no kind of place" in refusals(program.lead.post("/api/v1/items", json=body(place_kind="van")))["place_kind"]
    )
