"""The phone's tables: every answer in them is what `diagnose` says, and they stay small enough for a bad signal."""

import gzip
import json
from math import comb

import pytest

from service.diagnosis.diagnosis import diagnose
from service.diagnosis.offline_tables import MOST_CONTACTS, growths, offline
from service.wiring.advice import say
from service.wiring.builtin import BUILTIN
from service.wiring.own import parse_wiring
from service.wiring.wirings import Wiring, read
from tests.diagnosis.tables import as_fault, joined
from tests.support.program import table_of

EVERY = pytest.mark.parametrize("key", BUILTIN)
PACKED_MOST = 60_000
BY_ITSELF = ("contacts", "conductors", "bonds", "lanes", "safety", "tables", "otherwise")


SHARE = 60
"""About how many answers of a table are asked for again: all of a small one, every so-manieth of a large one."""


def good_elsewhere(wiring: Wiring, part: str, held: list[str]) -> list[list[str]]:
    """What conducts on a good cable outside a part."""
    wires = [wire for wire in wiring.conductors if part not in (wire.lane, None if wiring.lanes else wire.pair)]
    wires = [wire for wire in wires if part or wire.lane or wire.pair]
    if len(wiring.lanes or wiring.pairs) < 2:
        wires = []
    bonds = [[bond.earlier, bond.later] for bond in wiring.bonds if not {bond.earlier, bond.later} <= set(held)]
    return [[wire.a, wire.b] for wire in wires] + bonds


@EVERY
def test_its_answers_are_what_diagnosis_says(key: str) -> None:
    wiring, made = BUILTIN[key], table_of(key)
    faults = [as_fault(written) for written in made["faults"]]
    asked = 0
    for table in made["tables"]:
        whole = len(wiring.lanes or wiring.pairs) < 2
        elsewhere = [] if whole else good_elsewhere(wiring, table["part"], table["contacts"])
        results = list(table["results"].items())
        for growth, (verdict, indices, *least) in results[:: max(1, len(results) // SHARE)]:
            groups = joined(table["contacts"], growth) + elsewhere
            found = diagnose(wiring, read(wiring, groups, table["probed"]))
            assert (verdict, [faults[index] for index in indices], least != [False]) == (
                found.verdict,
                list(found.faults),
                found.least,
            ), (table["part"], groups)
            assert table["unproven"] == list(found.unproven)
            asked += 1
    assert asked > 50


@EVERY
def test_every_part_has_its_good_reading_and_it_is_no_fail(key: str) -> None:
    wiring, made = BUILTIN[key], table_of(key)
    parts = {table["part"] for table in made["tables"]}
    named = wiring.lanes if len(wiring.lanes) > 1 else wiring.pairs if len(wiring.pairs) > 1 else {}
    assert set(named) <= parts
    for table in made["tables"]:
        good = [
            answer for answer in table["results"].values() if answer[0] != "fail"
        ]  # only a reading that is good where it was probed is none
        assert len(good) == 1
        assert good[0][0] == ("partial" if table["unproven"] else "pass")


@EVERY
def test_the_words_are_the_advice_of_the_fault(key: str) -> None:
    wiring = BUILTIN[key]
    for written in table_of(key)["faults"]:
        said = say(wiring, as_fault(written))
        assert (written["title"], written["on_stage"]) == (said.title, said.on_stage)
        assert (written["look_first"], written["after_repair"]) == (said.look_first, said.after_repair)


@EVERY
def test_a_table_is_small_enough_for_a_bad_signal(key: str) -> None:
    made = table_of(key)
    undrawn = [{name: word for name, word in fault.items() if name != "drawing"} for fault in made["faults"]]
    table = {name: made[name] for name in BY_ITSELF} | {"faults": undrawn}
    assert len(gzip.compress(json.dumps(table, separators=(",", ":")).encode())) < PACKED_MOST


def test_three_contacts_at_both_ends_have_every_reading() -> None:
    made = table_of("xlr3")
    sizes = {len(table["contacts"]): len(table["results"]) for table in made["tables"]}
    assert (sizes[6], sizes[8]) == (203, 4140)  # the Bell numbers B(6) and B(8), OEIS A000110
    [inner] = [table for table in made["tables"] if table["probed"] == ["A1", "A2", "A3", "B1", "B2", "B3"]]
    verdict, (fault,) = inner["results"]["012021"]
    assert (verdict, made["faults"][fault]["title"]) == (
        "fail",
        "Conductor 2 (hot) and conductor 3 (cold) are swapped",
    )


@pytest.mark.parametrize("size", range(7))
def test_ways_to_join_are_all_there_once(size: int) -> None:
    # The recurrence of the Bell numbers: B(n+1) is the sum of C(n, k) B(k).
    bell = [1]
    for n in range(size):
        bell.append(sum(comb(n, k) * bell[k] for k in range(n + 1)))
    found = list(growths(size))
    assert len(found) == len(set(found)) == bell[size]


def test_what_is_too_wide_for_a_table_has_none_and_asks() -> None:
    count = MOST_CONTACTS // 2 + 1
    spec = {
        "ends": {end: [str(number) for number in range(1, count + 1)] for end in "AB"},
        "conductors": [
            {"name": str(number), "a": f"A{number}", "b": f"B{number}", "role": "single"}
            for number in range(1, count + 1)
        ],
    }
    made = offline(parse_wiring(spec))
    assert made["tables"] == []
    assert made["otherwise"] == "ask"


def test_a_contact_that_lanes_share_never_makes_an_impossible_reading() -> None:
    wire = {"role": "hot", "pair": None}
    spec = {
        "ends": {"A": ["1", "2", "3"], "B": ["1", "2", "3"]},
        "conductors": [
            wire | {"name": "x", "a": "A1", "b": "B1", "lane": "1"},
            wire | {"name": "y", "a": "A2", "b": "B1", "lane": "1"},
            wire | {"name": "z", "a": "A1", "b": "B2", "lane": "2"},
            wire | {"name": "w", "a": "A2", "b": "B2", "lane": "2"},
        ],
    }
    [first, _] = offline(parse_wiring(spec))["tables"]
    # A1 and A2 meet in B2 over lane 2, so no reading of lane 1 has them apart.
    assert all(growth[0] == growth[1] for growth in first["results"])
