"""Rigs as people use them: a plan that is drawn by numbers, each way beside the others, undo and copies."""

import json
import re
from dataclasses import replace
from datetime import timedelta
from fractions import Fraction
from html import unescape
from io import StringIO
from typing import Any
from uuid import uuid4

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.demo.gear import FEET
from service.kit.quantities import Unit
from service.rig import forms
from service.rig.chart import BOTTOM, LEFT, RIGHT, TOP, draw_prices
from service.rig.command import main
from service.rig.core.bill import make_chains
from service.rig.core.floor import ChainEnd, Floor, Point, Station
from service.rig.core.suggestion import suggested_into
from service.rig.drawing import WIDE, draw
from service.rig.plans import NEW, STATIONS_SOLVED, Plan, by_walkers, cheapest, check, compare
from service.season.actions import add_season
from service.season.core import Season, split
from tests.support.examples import examples
from tests.support.program import Running, op, running
from tests.testlog.support import ZONE

positions = st.integers(0, 30_000)
points = st.builds(Point, positions, positions)


@st.composite
def floors(draw: st.DrawFn) -> Floor:
    stations = {
        f"S{number}": Station(f"S{number}", at, draw(st.integers(0, 3)), 1524, 3048)
        for number, at in enumerate(draw(st.lists(points, max_size=9)))
    }
    return Floor(stations, Point(0, 0), Fraction(11, 10), 3000, [1524], [7620])


@examples(60)
@given(floors(), st.dictionaries(st.sampled_from(["Hub 1", "Hub 2"]), points, min_size=1))
def test_suggested_chains_end_in_a_hub_without_a_circle(floor: Floor, hubs: dict[str, Point]) -> None:
    ends = {name: ChainEnd(at, 8) for name, at in hubs.items()}
    into = suggested_into(floor, ends)
    assert into.keys() == floor.stations.keys()
    for name in into:
        seen = [name]
        while seen[-1] not in ends:
            seen.append(into[seen[-1]])
            assert len(seen) == len(set(seen))


@examples(60)
@given(floors(), st.lists(points, min_size=1, max_size=3))
def test_suggested_chains_fill_no_hub_while_another_has_room_for_all(floor: Floor, hubs: list[Point]) -> None:
    """Stations of one microphone each: where the hubs have room for all of them together, each finds a place."""
    ones = {name: replace(station, mics=1) for name, station in floor.stations.items()}
    ends = {f"Hub {number}": ChainEnd(at, -(-len(ones) // len(hubs)) or 1) for number, at in enumerate(hubs)}
    chains = make_chains(replace(floor, stations=ones), suggested_into(replace(floor, stations=ones), ends), ends)
    assert sum(chains.arriving().values()) == len(ones)


def ensemble() -> Plan:
    plan: Plan = NEW
    for number, (x, y) in enumerate(((2, 12), (12, 12), (22, 12)), 1):
        plan = forms.with_station(
            plan, "", {"name": f"Marimba {number}", "x": str(x), "y": f"{y} ft", "mics": "2"}, Unit.FEET
        )
    return plan


def test_each_way_is_what_the_command_answers() -> None:
    """The page's numbers are those of the contract's command, for the layout that the plan comes to."""
    plan = ensemble()
    check(plan)
    by_key = {one.key: one.rig for one in compare(plan)}
    for key, way in (("straight", "straight"), ("chain", "chain"), ("hubs", "hubs")):
        rig = by_key[key]
        assert rig is not None
        line = {**plan, "id": "a", "way": way, "into": dict(rig.chains.into)}
        answer = _command(line)
        assert answer["price"] == rig.bill.price
        assert answer["cables"] == {str(mm): count for mm, count in rig.bill.cables.items()}
        assert answer["setup_s"] == pytest.approx(rig.done.seconds, abs=1e-6)
        assert answer["walkers"] == rig.chains.walkers


def _command(line: dict[str, Any]) -> dict[str, Any]:
    out = StringIO()
    main(StringIO(json.dumps(line) + "\n"), out)
    answer: dict[str, Any] = json.loads(out.getvalue())
    assert "error" not in answer, answer
    return answer


def test_category_cable_differs_in_its_trunks_alone() -> None:
    plan = forms.with_rules(
        ensemble(),
        forms.rules_values(ensemble(), Unit.FEET) | {"trunks": "50 ft: 160", "category": "50 ft: 36"},
        Unit.FEET,
    )
    hubs, category = (one.rig for one in compare(plan) if one.key in ("hubs", "category"))
    assert hubs is not None
    assert category is not None
    assert hubs.bill.cables == category.bill.cables
    assert hubs.bill.price - category.bill.price == 16000 - 3600


def test_what_the_forms_show_is_read_as_the_same() -> None:
    for unit in Unit:
        plan = forms.with_rules(ensemble(), forms.rules_values(ensemble(), unit), unit)
        assert plan == {**ensemble(), "prices": plan["prices"]}
        for station in ensemble()["stations"]:
            name = station["name"]
            assert (
                forms.with_station(plan, name, forms.station_values(plan, name, unit), unit)["stations"]
                == plan["stations"]
            )
        assert forms.with_hub(plan, "Hub 1", forms.hub_values(plan, "Hub 1", unit), unit) == plan


def test_a_name_that_changes_is_followed_by_who_leads_into_it() -> None:
    plan = forms.with_station(
        ensemble(), "Marimba 1", {"name": "Marimba 1", "x": "2", "y": "12", "mics": "2", "into": "Marimba 2"}, Unit.FEET
    )
    values = forms.station_values(plan, "Marimba 2", Unit.FEET) | {"name": "Gong"}
    renamed = forms.with_station(plan, "Marimba 2", values, Unit.FEET)
    assert renamed["into"] == {"Marimba 1": "Gong"}
    assert forms.without_station(renamed, "Gong")["into"] == {}


def test_everything_is_within_the_picture() -> None:
    plan = ensemble()
    for one in compare(plan):
        picture = draw(plan, one.rig)
        assert {spot.name for spot in picture.spots} >= {"Mixer", "Marimba 1", "Marimba 2", "Marimba 3"}
        assert all(0 < spot.x < WIDE and 0 < spot.y < picture.height for spot in picture.spots)
        left, middle, right = (spot.x for spot in picture.spots if spot.kind == "station")
        assert right - left == pytest.approx(20 * FEET * picture.scale, abs=0.2)
        assert left < middle < right


def words(program: Running, path: str) -> str:
    page = program.viewer.get(path)
    assert page.status_code == 200, page.text
    return unescape(
        re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", page.text.partition("<main")[2].partition("</main>")[0]))
    )


def test_a_rig_is_drawn_changed_undone_and_copied(program: Running) -> None:
    form = {"op": op(), "name": "Indoor", "copy_of": ""}
    made = program.lead.post("/rigs", data=form)
    assert made.status_code == 303
    rig = made.headers["location"]
    assert program.lead.post("/rigs", data=form).headers["location"] == rig
    assert "Nothing stands here yet" in words(program, rig)
    station = {
        "op": op(),
        "was": "",
        "name": "Marimba 1",
        "x": "10",
        "y": "12 ft",
        "mics": "2",
        "into": "",
        "half": "",
        "across": "",
    }
    assert program.lead.post(f"{rig}/stations", data=station).status_code == 303
    assert program.lead.post(f"{rig}/stations", data=station).status_code == 303  # the same once more
    refused = program.lead.post(f"{rig}/stations", data=station | {"op": op(), "x": "wide"})
    assert refused.status_code == 422
    assert "is not a length" in refused.text
    assert "Something else here is named" in program.lead.post(f"{rig}/stations", data=station | {"op": op()}).text
    shown = words(program, rig)
    assert "Straight to one box" in shown
    assert "10 ft from the left, 12 ft from the front" in shown
    copy = program.lead.post("/rigs", data={"op": op(), "name": "What if", "copy_of": rig.rpartition("/")[2]}).headers[
        "location"
    ]
    moved = station | {"op": op(), "was": "Marimba 1", "x": "20"}
    assert program.lead.post(f"{rig}/stations", data=moved).status_code == 303
    assert "20 ft from the left" in words(program, rig)
    assert "10 ft from the left" in words(program, copy)
    assert program.lead.post(f"{rig}/undo", data={"op": op()}).headers["location"] == f"{rig}?undone=yes"
    assert "10 ft from the left" in words(program, rig)
    for expected in ("yes", "no"):
        assert program.lead.post(f"{rig}/undo", data={"op": op()}).headers["location"] == f"{rig}?undone={expected}"
    assert program.lead.post(f"{copy}/end", data={"op": op()}).headers["location"] == "/rigs"
    assert program.viewer.get(copy).status_code == 404
    assert "What if" not in words(program, "/rigs")


def test_a_hub_that_is_too_full_is_named_and_the_cheapest_is_found(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        plan = {"stations": [{"name": f"S{n}", "x": n * 1000, "y": 6000, "mics": 3} for n in range(4)]}
        plan["hubs"] = {name: {"x": x, "y": 5000, "lines": 8} for name, x in (("Hub 1", 0), ("Hub 2", 30_000))}  # type: ignore[assignment]
        plan["into"] = {f"S{n}": "Hub 1" for n in range(4)}  # type: ignore[assignment]
        body = {"id": op(), "name": "Full", "plan": plan}
        made = program.lead.post("/api/v1/rigs", json=body)
        assert (made.status_code, made.json()) == (201, program.lead.post("/api/v1/rigs", json=body).json())
        ways = program.viewer.get(f"/api/v1/rigs/{body['id']}").json()["ways"]
        assert "Hub 1" in ways["hubs"]["problem"]
        assert ways["chain"]["plug_ins"]
        rig = f"/rigs/{body['id']}"
        assert "the cheapest rig needs the price of every piece" in words(program, f"{rig}?way=best")
        values = forms.rules_values({**NEW, **plan}, Unit.FEET)
        values |= {
            "hub": "98",
            "trunks": "25 ft: 110\n50 ft: 160\n100 ft: 260",
            "cables": "5 ft: 9\n10 ft: 11\n50 ft: 29\n100 ft: 50",
        }
        assert program.lead.post(f"{rig}/rules", data={"op": op(), **values}).status_code == 303
        assert "The cheapest with hubs" in words(program, f"{rig}?way=best")
        assert "Hubs, 2 walkers" in words(program, f"{rig}/walkers")
        assert "2 walkers" in words(program, f"{rig}?way=walkers-2")
        assert "Who plugs what: " in words(program, f"{rig}?way=walkers-99")
        broken = program.lead.post("/api/v1/rigs", json={"id": op(), "name": "Broken", "plan": {"stock": []}})
        assert (broken.status_code, "is empty" in broken.json()["detail"]) == (422, True)


def test_more_walkers_never_cost_more_and_each_is_within_its_number() -> None:
    typed = forms.rules_values(ensemble(), Unit.FEET) | {"hub": "98", "trunks": "50 ft: 160\n100 ft: 260"}
    typed |= {"cables": "5 ft: 9\n10 ft: 11\n15 ft: 13\n25 ft: 18\n50 ft: 29"}
    plan = forms.with_rules(ensemble(), typed, Unit.FEET)
    rigs = [one.rig for one in by_walkers(plan)]
    assert all(rig is not None and len(rig.chains.walkers) <= most for most, rig in enumerate(rigs, 1))
    prices = [rig.bill.price for rig in rigs if rig]
    assert prices == sorted(prices, reverse=True)
    best = cheapest(plan).rig
    assert best is not None
    assert prices[-1] == best.bill.price


@examples(40)
@given(st.lists(st.tuples(st.just("best"), st.floats(0, 4000), st.integers(0, 10**7)), max_size=5))
def test_every_point_is_within_the_picture_of_prices(rigs: list[tuple[str, float, int]]) -> None:
    chart = draw_prices(rigs, (120, 180))
    assert all(LEFT <= point.x <= RIGHT and TOP <= point.y <= BOTTOM for point in chart.points)
    assert 2 <= len(chart.seconds) <= 8
    assert 2 <= len(chart.cents) <= 7


def test_a_rig_becomes_an_input_list_hub_by_hub(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        season, today = uuid4(), program.clock.now.astimezone(ZONE).date()
        rule = Season(today, today + timedelta(days=100), split(today, today + timedelta(days=100), 2))
        with program.store.writing() as db:
            add_season(db, season, "Fall season", rule, [], program.clock.now)
        plan = {**ensemble(), "into": {"Marimba 1": "Hub 2", "Marimba 2": "Hub 1", "Marimba 3": "Hub 1"}}
        plan["hubs"] = {f"Hub {n}": {"x": n * 1000, "y": 3000, "lines": 8} for n in (1, 2)}
        rig = {"id": op(), "name": "Fall", "plan": plan}
        assert program.lead.post("/api/v1/rigs", json=rig).status_code == 201
        form = {"op": op(), "way": "hubs", "of": str(season)}
        made = program.lead.post(f"/rigs/{rig['id']}/inputs", data=form)
        assert (made.status_code, made.headers.get("location")) == (303, f"/inputs/{form['op']}"), made.text
        assert program.lead.post(f"/rigs/{rig['id']}/inputs", data=form).status_code == 303
        channels = program.viewer.get(f"/api/v1/input-lists/{form['op']}").json()["channels"]
        assert [(one["number"], one["source"]) for one in channels] == [
            (2 * at + one, f"{name}, microphone {one}")
            for at, name in enumerate(("Marimba 2", "Marimba 3", "Marimba 1"))
            for one in (1, 2)
        ]
        again = program.lead.post(f"/rigs/{rig['id']}/inputs", data=form | {"op": op()})
        assert (again.status_code, "It has an input list already" in again.text) == (422, True)


def test_no_page_waits_for_the_solver_of_a_large_plan() -> None:
    many = [{"name": f"S{n}", "x": n * 1000, "y": 6000, "mics": 1} for n in range(STATIONS_SOLVED + 1)]
    assert "more would take too long" in cheapest({**NEW, "stations": many}).problem
    assert [one.rig for one in by_walkers({**NEW, "stations": many})] == [None]
    assert all(one.rig or "lines arrive" in one.problem for one in compare({**NEW, "stations": many}))
