from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rig.exhaustive import distance, price, rig, rigs
from tests.rig.layouts import ALL_PRICES, LAYOUT, run
from tests.support.examples import examples

BEST = {name: value for name, value in LAYOUT.items() if name != "into"} | {"way": "best", "prices": ALL_PRICES}


@st.composite
def layouts(draw: st.DrawFn) -> dict[str, Any]:
    """Up to four stations and two hubs, with prices and limits that bite."""
    place = st.integers(0, 9000)
    stations = [
        {"name": f"station {number}", "x": draw(place), "y": draw(place), "mics": draw(st.integers(0, 3))}
        for number in range(draw(st.integers(1, 4)))
    ]
    hubs = {
        name: {"x": draw(place), "y": draw(place), "lines": draw(st.integers(1, 9))}
        for name in ("A", "B")[: draw(st.integers(1, 2))]
    }
    limits = draw(
        st.fixed_dictionaries(
            {},
            optional={
                "walkers": st.integers(0, 3),
                "plug_ins": st.integers(0, 8),
                "reach": st.integers(0, 9000),
            },
        )
    )
    prices = {
        "cables": {length: draw(st.integers(0, 4000)) for length in ALL_PRICES["cables"]},  # type: ignore[attr-defined]
        "hub": draw(st.integers(0, 9000)),
        "trunks": {length: draw(st.integers(0, 9000)) for length in ALL_PRICES["trunks"]},  # type: ignore[attr-defined]
    }
    stock = draw(st.sampled_from(([1524, 3048, 4572, 7620, 15240], [1524, 4572], [3048], [1524])))
    trunk_stock = draw(st.sampled_from(([7620, 15240, 30480], [7620])))
    fields = {"stations": stations, "hubs": hubs, "limits": limits, "prices": prices}
    return {**BEST, **fields, "stock": stock, "trunk_stock": trunk_stock}


@examples(12)
@given(layouts())
def test_no_rig_of_all_is_cheaper(layout: dict[str, Any]) -> None:
    status, [answer] = run(layout)
    every = [each for each, _ in rigs(layout)]
    if not every:
        assert status == 1
        assert "keeps within the limits" in answer["error"]
        return
    assert answer["price"] == min(every)
    used = {name: layout["hubs"][name] for name in answer["used"]}
    again = rig(layout, answer["into"], used)
    assert {name: answer[name] for name in again} == again
    assert price(layout, again, len(used)) == answer["price"]
    assert answer["hubs"] == len(used)
    assert (answer["price"], answer["into"]) in list(rigs(layout))


def test_an_ensemble_within_its_limits() -> None:
    """Nine stations in rows of three before three hubs of which two do: within reach, with few walkers."""
    stations = [
        {"name": f"{row}.{turn}", "x": 2500 * row, "y": 9000 + 2500 * turn, "mics": 1}
        for row in range(3)
        for turn in range(3)
    ]
    hubs = {f"hub {row}": {"x": 2500 * row, "y": 8000, "lines": 8} for row in range(3)}
    limits = {"walkers": 3, "plug_ins": 5, "reach": 2500}
    status, [answer] = run({**BEST, "stations": stations, "hubs": hubs, "limits": limits})
    assert status == 0
    assert len(answer["walkers"]) <= 3
    assert max(answer["plug_ins"].values()) <= 5
    places = {station["name"]: station for station in stations}
    assert all(distance(places[one], places[into]) <= 2500 for one, into in answer["into"].items() if into in places)
    assert len(answer["used"]) == 2
    assert answer["unmet"] == []


def test_without_a_microphone_nothing_is_bought() -> None:
    silent = [{**station, "mics": 0} for station in LAYOUT["stations"]]
    status, [answer] = run({**BEST, "stations": silent})
    assert status == 0
    assert answer == {
        "id": "any",
        "cables": {},
        "hubs": 0,
        "boxes": 0,
        "trunks": {},
        "unmet": [],
        "price": 0,
        "unpriced": [],
        "plug_ins": {},
        "walkers": [],
        "lines": {},
        "setup_s": 0,
        "last": None,
        "into": {},
        "used": [],
    }


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"prices": {**ALL_PRICES, "trunks": {}}}, '"prices" lacks trunks 7620'),
        ({"prices": {**ALL_PRICES, "cables": {"1524": 1}}}, '"prices" lacks cables 3048'),
        ({"prices": LAYOUT["prices"] | {"hub": 1, "cables": {}}}, '"prices" lacks cables 1524'),
        ({"prices": {}}, '"prices" lacks hub'),
        ({"limits": {"walkers": 0}}, "No rig keeps within the limits"),
        ({"limits": {"plug_ins": 1}}, "No rig keeps within the limits"),
        ({"stock": [1000], "prices": {**ALL_PRICES, "cables": {"1000": 1}}}, "No rig keeps within the limits"),
        ({"trunk_stock": [7620]}, "No rig keeps within the limits"),
        ({"limits": {"walkers": -1}}, '"walkers" of "limits" is -1'),
        ({"limits": {"hubs": 1}}, '"limits" has "hubs", which is none of walkers, plug_ins, reach.'),
        ({"hubs": {}}, '"hubs" is empty'),
    ],
)
def test_what_cannot_be_is_refused(change: dict[str, Any], says: str) -> None:
    status, [refused, answered] = run({**BEST, "id": "x", **change}, BEST)
    assert status == 1
    assert list(refused) == ["id", "error"]
    assert says in refused["error"]
    assert answered["used"] == ["hub A"]
