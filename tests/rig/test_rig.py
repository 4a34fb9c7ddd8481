from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rig import exhaustive
from tests.rig.layouts import LAYOUT, rig_of, run
from tests.support.examples import examples


def test_the_contracts_example() -> None:
    assert list(rig_of().items()) == list(
        {
            "id": "any",
            "cables": {"1524": 4, "3048": 3},
            "hubs": 1,
            "boxes": 0,
            "trunks": {"15240": 1},
            "unmet": [],
            "price": 30200,
            "unpriced": ["cables 3048"],
            "plug_ins": {"Marimba 1": 4, "Vibe 1": 1, "Vibe 2": 2},
            "walkers": ["Marimba 1"],
            "lines": {"hub A": 4},
            "setup_s": 37.25,
            "last": "Marimba 1",
        }.items()
    )


def test_straight_by_hand() -> None:
    """To the box it is 6500, 6000 and 3500 mm; 1.1 times that and half an instrument are 8674, 8124 and 5374 mm."""
    answer = rig_of(way="straight")
    assert answer["cables"] == {"7620": 2, "15240": 2}
    assert (answer["hubs"], answer["boxes"], answer["trunks"]) == (0, 1, {"7620": 1})
    assert answer["price"] == 25000
    assert answer["unpriced"] == ["cables 15240", "cables 7620", "trunks 7620"]
    assert answer["plug_ins"] == {"Marimba 1": 2, "Vibe 1": 1, "Vibe 2": 1}
    assert answer["walkers"] == ["Marimba 1", "Vibe 1", "Vibe 2"]
    assert answer["lines"] == {"box": 4}
    # Marimba is there first and done after 20 + 3500/1200 + 8 s, long after Vibe 2 came; the other place takes both.
    assert answer["last"] == "Vibe 1"
    assert answer["setup_s"] == pytest.approx(20 + 6000 / 1200 + 4 + 4, abs=1e-6)


def test_a_chain_by_hand() -> None:
    """Marimba's way to the box is 3850 mm, 850 over the gap: its cables need 2374 and 3898 mm."""
    answer = rig_of(way="chain", into={**LAYOUT["into"], "Marimba 1": "box"})
    assert answer["cables"] == {"1524": 2, "3048": 3, "4572": 2}
    assert (answer["boxes"], answer["hubs"], answer["lines"]) == (1, 0, {"box": 4})


def test_thirteen_performers_and_four_walkers() -> None:
    """A constructed case: rows of four, three, three and three with a hub before each, against one box for all."""
    rows = [(4, 0), (3, 3000), (3, 6000), (3, 9000)]
    stations, into, hubs = [], {}, {}
    for row, (count, x) in enumerate(rows):
        for turn in range(count):
            stations.append({"name": f"{row}.{turn}", "x": x, "y": 9000 + 2500 * turn, "mics": 2})
            into[f"{row}.{turn}"] = f"{row}.{turn - 1}" if turn else f"hub {row}"
        hubs[f"hub {row}"] = {"x": x, "y": 8000, "lines": 8}
    chained = rig_of(stations=stations, into=into, hubs=hubs)
    assert chained["walkers"] == ["0.0", "1.0", "2.0", "3.0"]
    assert chained["lines"] == {"hub 0": 8, "hub 1": 6, "hub 2": 6, "hub 3": 6}
    assert chained["plug_ins"]["0.0"] == 8
    # Nothing is over the gap: 26 lines have half a frame, and 2 + 4 + 6 and thrice 2 + 4 go across others.
    assert chained["cables"] == {"1524": 26, "3048": 30}
    straight = rig_of(stations=stations, way="straight")
    assert len(straight["walkers"]) == 13
    assert sum(straight["cables"].values()) == 26


def test_slack_counts_as_the_decimal_that_is_written() -> None:
    """50 mm times 1.1 are 55; the binary number for 1.1 is a little more."""
    station = {"name": "Rack", "x": 50, "y": 0, "mics": 1}
    answer = rig_of(way="straight", stations=[station], box={"x": 0, "y": 0}, stock=[1524 + 55, 9999])
    assert answer["cables"] == {"1579": 1}


def test_what_no_length_meets_counts_as_the_longest() -> None:
    answer = rig_of(stock=[1000, 2000], trunk_stock=[5000], prices={"cables": {"2000": 7}, "hub": 0})
    assert answer["cables"] == {"2000": 7}
    assert answer["trunks"] == {"5000": 1}
    assert answer["unmet"] == [3048, 3048, 3048, 8800]
    assert (answer["price"], answer["unpriced"]) == (49, ["trunks 5000"])


def test_every_hub_is_bought_and_the_box_has_its_trunk_though_nothing_is_plugged_in() -> None:
    silent = [{**station, "mics": 0} for station in LAYOUT["stations"]]
    answer = rig_of(stations=silent, hubs={**LAYOUT["hubs"], "hub B": {"x": 0, "y": 20000, "lines": 1}})
    assert (answer["hubs"], answer["trunks"], answer["cables"]) == (2, {"15240": 1, "30480": 1}, {})
    assert (answer["lines"], answer["plug_ins"], answer["walkers"]) == ({}, {}, [])
    assert (answer["setup_s"], answer["last"]) == (0, None)
    assert rig_of(stations=silent, way="straight")["trunks"] == {"7620": 1}


@pytest.mark.parametrize(
    ("crew", "seconds", "last"),
    [
        # D/D/c by hand: five who are there at 21, 22, 23, 24, 25 s and plug for 4 s.
        ({"hands": 1}, 41, "e"),
        ({"hands": 2}, 33, "e"),  # 21-25 and 22-26, 25-29 and 26-30, 29-33
        ({"hands": 4}, 29, "e"),  # the first is done at 25, as the last one comes
        ({"hands": 9}, 29, "e"),
        ({"hands": 2, "open_s": 30}, 42, "e"),  # 30-34 twice, 34-38 twice, 38-42
        ({"hands": 1, "plug_s": 0.5, "open_s": 24.25}, 26.75, "e"),
    ],
)
def test_the_queue_by_hand(crew: dict[str, Any], seconds: float, last: str) -> None:
    stations = [{"name": name, "x": 1000 * turn, "y": 0, "mics": 1} for turn, name in enumerate("abcde", 1)]
    answer = rig_of(
        way="straight",
        stations=stations,
        box={"x": 0, "y": 0},
        crew={"walk_mm_s": 1000, "plug_s": 4, "hands": 2, "ready_s": 20} | crew,
    )
    assert answer["setup_s"] == pytest.approx(seconds, abs=1e-6)
    assert answer["last"] == last


def test_at_the_same_moment_names_decide() -> None:
    stations = [{"name": name, "x": x, "y": 0, "mics": mics} for name, x, mics in (("b", 900, 3), ("a", -900, 1))]
    crew = {"walk_mm_s": 900, "plug_s": 2, "hands": 1, "ready_s": 0}
    one = rig_of(way="straight", stations=stations, box={"x": 0, "y": 0}, crew=crew)
    assert (one["setup_s"], one["last"]) == (9, "b")
    same = [{**station, "mics": 2} for station in stations]
    both = rig_of(way="straight", stations=same, box={"x": 0, "y": 0}, crew={**crew, "hands": 2})
    assert (both["setup_s"], both["last"]) == (5, "a")


@st.composite
def layouts(draw: st.DrawFn, most: int = 7) -> dict[str, Any]:
    """Layouts of way `hubs`, with chains that go from later to earlier stations."""
    place = st.integers(-9000, 9000)
    names = [f"station {number}" for number in range(draw(st.integers(1, most)))]
    size = st.fixed_dictionaries({}, optional={"half": st.integers(1, 5000), "across": st.integers(1, 5000)})
    stations = [
        {"name": name, "x": draw(place), "y": draw(place), "mics": draw(st.integers(0, 3)), **draw(size)}
        for name in names
    ]
    hubs = {name: {"x": draw(place), "y": draw(place), "lines": 99} for name in ("A", "B")}
    into = {name: draw(st.sampled_from([*hubs, *names[:number]])) for number, name in enumerate(names)}
    lengths = st.lists(st.integers(500, 20000), min_size=1, max_size=5, unique=True)
    rules = {
        **LAYOUT["rules"],
        "slack": draw(st.sampled_from((1, 1.1, 1.15, 1.333))),
        "gap": draw(st.integers(0, 6000)),
    }
    fields = {"stations": stations, "hubs": hubs, "into": into, "rules": rules}
    return {**LAYOUT, **fields, "stock": draw(lengths), "trunk_stock": draw(lengths)}


@given(layouts())
def test_it_is_what_line_after_line_gives(layout: dict[str, Any]) -> None:
    status, [answer] = run(layout)
    assert status == 0
    expected = exhaustive.rig(layout, layout["into"], layout["hubs"])
    assert {name: answer[name] for name in expected} == expected
    assert list(answer["cables"]) == list(expected["cables"])


@given(layouts())
def test_straight_is_what_line_after_line_gives(layout: dict[str, Any]) -> None:
    """A chain of one with no gap."""
    ends = {"box": LAYOUT["box"]}
    _, [answer] = run({**layout, "way": "straight"})
    without = {**layout, "rules": {**layout["rules"], "gap": 0}}
    expected = exhaustive.rig(without, {station["name"]: "box" for station in layout["stations"]}, ends)
    assert {name: answer[name] for name in expected} == expected


@examples(20)
@given(layouts(), st.randoms(use_true_random=False))
def test_the_order_of_stations_changes_nothing(layout: dict[str, Any], random: Random) -> None:
    shuffled = {**layout, "stations": random.sample(layout["stations"], len(layout["stations"]))}
    assert run(shuffled) == run(layout)


def field(name: str, **change: Any) -> dict[str, Any]:
    return {name: {**LAYOUT[name], **change}}


def station(**change: Any) -> dict[str, Any]:
    return {"stations": [{**LAYOUT["stations"][0], **change}, *LAYOUT["stations"][1:]]}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (field("into", **{"Vibe 3": "hub A"}), '"into" has "Vibe 3", which is no station'),
        (field("into", **{"Vibe 1": "hub B"}), '"into" leads "Vibe 1" into \'hub B\', which is neither a station nor'),
        (field("into", **{"Marimba 1": "box"}), '"into" leads "Marimba 1" into \'box\''),
        ({"way": "chain"}, '"into" leads "Marimba 1" into \'hub A\''),
        (field("into", **{"Marimba 1": "Vibe 2"}), "leads back into itself"),
        (field("into", **{"Vibe 1": "Vibe 1"}), '"Vibe 1" leads back into itself; let its chain end in a box or hub.'),
        (
            {"into": {"Vibe 1": "Vibe 2", "Vibe 2": "Marimba 1"}},
            '4 lines leave "Marimba 1", which "into" does not name',
        ),
        ({"stock": []}, '"stock" is empty'),
        ({"trunk_stock": []}, '"trunk_stock" is empty'),
        ({"stock": [0]}, 'A length in "stock" is 0'),
        ({"stock": [1524.5]}, 'A length in "stock" is 1524.5; give a whole number.'),
        ({"hubs": {}}, '"hubs" is empty'),
        ({"hubs": None}, '"hubs" must be an object'),
        ({"way": "straight", "box": None}, '"box" must be an object'),
        ({"way": "wireless"}, '"way" is "wireless"; it is one of straight, chain, hubs, best.'),
        ({"hubs": {"hub A": {"x": 0, "y": 0, "lines": 0}}}, '"lines" of hub "hub A" is 0'),
        ({"hubs": {"Vibe 1": {"x": 0, "y": 0, "lines": 8}}}, 'A station and a hub are named "Vibe 1"'),
        ({"hubs": {"hub A": {"x": 2500, "y": 8000, "lines": 3}}}, '4 lines arrive at "hub A", which takes 3'),
        (station(name="Vibe 2"), 'Two stations are named "Vibe 2"'),
        (station(mics=-1), '"mics" of station "Vibe 1" is -1'),
        (station(half=0), '"half" of station "Vibe 1" is 0'),
        (station(across=-5), '"across" of station "Vibe 1" is -5'),
        (station(x="left"), '"x" of station "Vibe 1" must be a number'),
        (field("rules", half=0), '"half" of "rules" is 0'),
        (field("rules", across=0), '"across" of "rules" is 0'),
        (field("rules", gap=-1), '"gap" of "rules" is -1'),
        (field("rules", slack=0.99), '"slack" of "rules" is 0.99; give 1 or more.'),
        (field("crew", walk_mm_s=0), '"walk_mm_s" of "crew" is 0'),
        (field("crew", plug_s=0), '"plug_s" of "crew" is 0'),
        (field("crew", hands=0), '"hands" of "crew" is 0'),
        (field("crew", ready_s=-1), '"ready_s" of "crew" is -1'),
        (field("crew", open_s=-1), '"open_s" of "crew" is -1'),
        (field("prices", hub=-1), 'The price of "hub" is -1'),
        (field("prices", box=-1), 'The price of "box" is -1'),
        (field("prices", cables={"1524": -1}), 'The price of cables "1524" is -1'),
        (field("prices", trunks={"long": 1}), '"trunks" of "prices" has "long"'),
    ],
)
def test_a_wrong_layout_is_refused_and_the_rest_is_answered(change: dict[str, Any], says: str) -> None:
    status, [refused, answered] = run({**LAYOUT, "id": "x", **change}, LAYOUT)
    assert status == 1
    assert list(refused) == ["id", "error"]
    assert refused["id"] == "x"
    assert says in refused["error"]
    assert answered["price"] == 30200


def test_of_several_hubs_that_are_over_full_the_first_is_named() -> None:
    hubs = {name: {"x": 2500, "y": 8000, "lines": 1} for name in ("Z", "M", "A")}
    into = {"Vibe 1": "A", "Vibe 2": "Z", "Marimba 1": "M"}
    doubled = [{**each, "mics": 2} for each in LAYOUT["stations"]]
    _, [refused] = run({**LAYOUT, "hubs": hubs, "into": into, "stations": doubled})
    assert refused["error"].startswith('2 lines arrive at "A", which takes 1')
