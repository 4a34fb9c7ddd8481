"""The published wire-map classes on an 8p8c, and what the contract says of single cables.

The maps are those of a "Cable Testing Definitions" paper that lists the wire-map items of TIA-568.
"""

from typing import Any

import pytest

from service.diagnosis.diagnosis import Diagnosis, diagnose
from service.wiring.builtin import BUILTIN
from service.wiring.wirings import read

STRAIGHT = [1, 2, 3, 4, 5, 6, 7, 8]


def found(key: str, joined: list[list[str]], probed: object = "all") -> Diagnosis:
    made = BUILTIN[key]
    return diagnose(made, read(made, joined, probed))


def faults(key: str, joined: list[list[str]], probed: object = "all") -> list[tuple[Any, ...]]:
    return [
        tuple(part for part in (fault.fault_class.value, " ".join(fault.conductors), fault.end, fault.lanes) if part)
        for fault in found(key, joined, probed).faults
    ]


def pin_map(pins: list[int]) -> list[list[str]]:
    """Contact n of end A reaches contact pins[n - 1] of end B."""
    return [[f"A{number}", f"B{pin}"] for number, pin in enumerate(pins, start=1)]


@pytest.mark.parametrize(
    ("pins", "expected"),
    [
        (STRAIGHT, []),
        ([2, 1, 3, 4, 5, 6, 7, 8], [("reversed_pair", "1 2")]),
        ([3, 6, 1, 4, 5, 2, 7, 8], [("crossed_pairs", "1 2 3 6")]),
        ([1, 3, 2, 4, 5, 6, 7, 8], [("miswire", "2 3")]),
    ],
)
def test_the_published_maps(pins: list[int], expected: list[tuple[str, ...]]) -> None:
    assert faults("8p8c", pin_map(pins)) == expected


def test_a_published_open_and_a_published_short() -> None:
    assert faults("8p8c", pin_map(STRAIGHT)[:7]) == [("open", "8")]
    assert faults("8p8c", [*pin_map(STRAIGHT), ["A1", "B4"]]) == [("short", "1 4")]


def test_a_split_pair_reads_as_a_good_cable_and_every_verdict_says_so() -> None:
    """Contacts 3 and 6 run on wires of two pairs: the same contact is joined at both ends, so nothing shows."""
    wires = {"white-green": (3, 3), "blue": (6, 6), "green": (4, 4), "white-blue": (5, 5)}
    split = [[f"A{a}", f"B{b}"] for a, b in wires.values()] + [[f"A{n}", f"B{n}"] for n in (1, 2, 7, 8)]
    assert found("8p8c", split) == found("8p8c", pin_map(STRAIGHT))
    for joined in (split, [], pin_map([2, 1, 3, 4, 5, 6, 7, 8])):
        assert found("8p8c", joined).to_json()["blind_to"] == [
            "split_pair",
            "intermittent",
            "high_resistance",
        ]


def test_hot_and_cold_swapped_is_a_reversed_pair() -> None:
    """Polarity reversal of a three-contact cable is the map 1 3 2."""
    assert faults("xlr3", [["A1", "B1"], ["A2", "B3"], ["A3", "B2"]]) == [("reversed_pair", "2 3")]


def test_an_open_conductor_tells_the_end_of_a_short() -> None:
    assert faults("xlr3", [["A1", "A2", "B1"], ["A3", "B3"]]) == [("open", "2"), ("short", "1 2", "A")]
    assert faults("xlr3", [["A1", "B1", "B2"], ["A3", "B3"]]) == [("open", "2"), ("short", "1 2", "B")]


def test_a_cable_crushed_and_torn_is_shorted_along_both_halves() -> None:
    assert faults("xlr3", [["A1", "B1"], ["A2", "A3"], ["B2", "B3"]]) == [
        ("open", "2"),
        ("open", "3"),
        ("short", "2 3"),
    ]


def test_shells() -> None:
    good = [["A1", "B1"], ["A2", "B2"], ["A3", "B3"]]
    assert faults("xlr3", [*good, ["A1", "As"]]) == [("short", "1 As")]
    assert faults("xlr3", [*good, ["As", "Bs"]]) == [("short", "As Bs")]
    assert faults("xlr3-bonded", [*good, ["As", "A1"], ["Bs", "B1"]]) == []
    assert faults("xlr3-bonded", [*good, ["As", "A1"]]) == [("open", "Bs", "B")]
    assert faults("xlr3-bonded", [*good, ["As", "A1"], ["Bs", "B1", "A2"]]) == [("short", "1 2")]


def test_lanes() -> None:
    trunk = {wire.name: wire.b for wire in BUILTIN["d25x8"].conductors}
    crossed = dict(trunk) | {"24": "B10", "10": "B24", "12": "B23", "23": "B12"}
    pairs = [[f"A{name}", contact] for name, contact in crossed.items()]
    assert faults("d25x8", pairs) == [("crossed_pairs", "10 12 23 24")]
    crossed |= {"25": "B11", "11": "B25"}
    lanes = [[f"A{name}", contact] for name, contact in crossed.items()]
    assert faults("d25x8", lanes) == [("crossed_lanes", "10 11 12 23 24 25", ("1", "2"))]


def test_crossed_lanes_come_before_crossed_pairs_where_both_explain() -> None:
    """The shields of an 8p8c's lines share the screen, so that their exchange shows nowhere."""
    made = BUILTIN["8p8c-to-xlr4"]
    far = {wire.name: wire.b for wire in made.conductors}
    far |= {"1": far["3"], "3": far["1"], "2": far["6"], "6": far["2"]}
    joined = [[made.by_name[name].a, contact] for name, contact in far.items()]
    assert faults("8p8c-to-xlr4", joined) == [("crossed_lanes", "1 2 3 6 s1 s2", ("1", "2"))]


def test_a_miswire_says_where_its_conductors_land() -> None:
    fault = found("xlr3", [["A1", "B2"], ["A2", "B1"], ["A3", "B3"]]).faults[0]
    assert fault.to_json() == {
        "class": "miswire",
        "conductors": ["1", "2"],
        "end": None,
        "map": {"1": "B2", "2": "B1"},
    }


def test_a_pass_needs_every_contact_of_a_conductor_or_bond_but_no_bare_shell() -> None:
    good = [["A1", "B1"], ["A2", "B2"], ["A3", "B3"]]
    cores = ["A1", "A2", "A3", "B1", "B2", "B3"]
    assert found("xlr3", good, cores) == Diagnosis("pass")
    assert found("xlr3-bonded", good, cores) == Diagnosis("partial", unproven=("As", "Bs"))
    assert found("xlr3", good[1:], [*cores[1:3], *cores[4:]]) == Diagnosis("partial", unproven=("1",))
    assert found("xlr3", good[2:], cores[2:]).verdict == "partial"


def test_a_proven_fault_fails_a_cable_that_was_not_fully_probed() -> None:
    failed = found("xlr3", [["A2", "B2"]], ["A2", "A3", "B2", "B3"])
    assert failed.verdict == "fail"
    assert failed.unproven == ("1",)
    assert [fault.conductors for fault in failed.faults] == [("3",)]


def written(key: str, joined: list[list[str]], probed: object = "all") -> list[dict[str, Any]]:
    return [fault.to_json() for fault in found(key, joined, probed).faults]


def miswire(end: str, **goals: str) -> dict[str, Any]:
    return {"class": "miswire", "conductors": list(goals), "end": end, "map": goals}


ON_THE_TAG = [["A1", "Bs"], ["A2", "B2"], ["A3", "B3"]]


@pytest.mark.parametrize("key", ["xlr3", "xlr3-to-trs", "trs"])
@pytest.mark.parametrize("end", ["A", "B"])
def test_a_wire_on_the_shell_s_tag_is_told_with_its_end(key: str, end: str) -> None:
    made = BUILTIN[key]
    for lost in made.conductors:
        joined = [[wire.a, wire.b] for wire in made.conductors if wire is not lost]
        joined.append(["As", lost.b] if end == "A" else [lost.a, "Bs"])
        assert written(key, joined) == [miswire(end, **{lost.name: f"{end}s"})]
    assert found("xlr3", ON_THE_TAG).least


def test_wires_that_moved_on_by_one_are_one_chain() -> None:
    assert written("xlr3", [["A1", "Bs"], ["A2", "B1"], ["A3", "B3"]]) == [miswire("B", **{"1": "Bs", "2": "B1"})]
    assert written("xlr3", [["As", "B2"], ["A2", "B1"], ["A3", "B3"]]) == [miswire("A", **{"1": "A2", "2": "As"})]


def test_a_wire_on_a_shell_that_is_bonded_reads_as_good() -> None:
    good = [["A2", "B2"], ["A3", "B3"]]
    assert written("xlr3-bonded", [["A1", "As", "B1", "Bs"], *good]) == []
    parted = {"class": "open", "conductors": ["Bs"], "end": "B"}
    assert written("xlr3-bonded", [["A1", "As", "Bs"], *good]) == [parted, miswire("B", **{"1": "Bs"})]
    two = [["A1", "As", "A2", "B1", "Bs"], ["A3", "B3"]]
    assert written("xlr3-bonded", two) == [miswire("B", **{"2": "Bs"})]


def test_a_wire_on_an_unused_contact() -> None:
    trunk = [[wire.a, wire.b] for wire in BUILTIN["d25x8"].conductors if wire.name != "24"]
    assert written("d25x8", [*trunk, ["A24", "B13"]]) == [miswire("B", **{"24": "B13"})]
    assert written("d25x8", [*trunk, ["A13", "B24"]]) == [miswire("A", **{"24": "A13"})]
    lifted = [["A2", "B1"], ["A3", "B3"]]
    assert written("xlr3-lifted", lifted) == [miswire("B", **{"2": "B1"})]


def test_a_screen_on_a_tag_after_two_lanes_were_crossed() -> None:
    joined = [["A1", "B2.2"], ["A2", "B2.3"], ["A3", "B1.2"], ["A6", "B1.3"], ["A5", "B3.2"], ["A4", "B3.3"]]
    joined += [["A7", "B4.2"], ["A8", "B4.3"], ["As", "B1.s", "B2.1", "B3.1", "B4.1"]]
    crossed, chain = written("8p8c-to-xlr4", joined)
    assert (crossed["class"], crossed["lanes"]) == ("crossed_lanes", ["1", "2"])
    assert chain == miswire("B", s2="B1.s")


def test_a_chain_stays_on_the_connector_where_a_contact_came_free() -> None:
    """The screens of connectors 1 and 2 share As: either could be the one on the tag."""
    lines = [["A1", "B1.2"], ["A2", "B1.3"], ["A3", "B2.2"], ["A6", "B2.3"], ["A5", "B3.2"], ["A4", "B3.3"]]
    lines += [["A7", "B4.2"], ["A8", "B4.3"]]
    short, chain = written("8p8c-to-xlr4", [*lines, ["As", "B1.s", "B2.s", "B2.1", "B3.1", "B4.1"]])
    assert (short["class"], short["conductors"]) == ("short", ["s1", "B2.s"])
    assert chain == miswire("B", s1="B1.s")


def test_a_short_names_a_contact_that_a_chain_left_free() -> None:
    assert written("xlr3", [["A1", "Bs"], ["A2", "B1", "B2"], ["A3", "B3"]]) == [
        {"class": "short", "conductors": ["2", "B1"], "end": None},
        miswire("B", **{"1": "Bs"}),
    ]


def test_no_wire_is_on_a_contact_that_was_not_read_with_another() -> None:
    """Nothing joins Bs where it was not probed: what is known is that 1 is open."""
    cores = ["A1", "A2", "A3", "B1", "B2", "B3"]
    assert written("xlr3", ON_THE_TAG[1:], cores) == [{"class": "open", "conductors": ["1"], "end": None}]


def test_two_wires_of_one_name_on_tags_at_both_ends() -> None:
    """Rather than open and short, which are two classes."""
    assert written("xlr3", [["As", "Bs"], ["A2", "B2"], ["A3", "B3"]]) == [
        miswire("A", **{"1": "As"}),
        miswire("B", **{"1": "Bs"}),
    ]
