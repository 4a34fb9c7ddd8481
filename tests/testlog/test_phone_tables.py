"""What a phone tells at the spot: every fault of its tables has its own drawing, and all of it stays small."""

import gzip
import json
from xml.etree import ElementTree

import pytest

from service.drawing import layout
from service.drawing.findings import LineKind, alone
from service.testlog.form_reader import EVIDENCE
from service.wiring.builtin import BUILTIN
from service.wiring.faults import seats_of
from service.wiring.singles import single_faults
from tests.support.program import table_of

PACKED_MOST = 60_000  # bytes: as large as the tables by themselves may be


@pytest.mark.parametrize("key", ["xlr3", "d25-to-xlr8"])
def test_every_fault_comes_with_its_drawing_and_the_whole_stays_small(key: str) -> None:
    made = table_of(key)
    assert made["key"] == key
    ticked = [words for by_end in made["evidence"].values() for words in by_end.values()]
    assert len(ticked) == 3 * len(EVIDENCE)
    for fault in (*made["faults"], *ticked):
        svg = ElementTree.fromstring(fault["drawing"])
        assert fault["title"].partition(" (")[0] in svg.attrib["aria-label"]
        assert svg.findall(".//path[@class='sign']") or svg.findall(".//g[@class='strand is-elsewhere']"), fault
    packed = gzip.compress(json.dumps(made, separators=(",", ":"), ensure_ascii=False).encode())
    assert len(packed) <= PACKED_MOST


@pytest.mark.parametrize("key", ["xlr3", "xlr3-bonded", "d25x8"])
def test_a_fault_by_itself_says_nothing_of_what_it_does_not_name(key: str) -> None:
    wiring = BUILTIN[key]
    for fault in single_faults(wiring):
        seen = alone(wiring, fault)
        ends = seats_of(wiring, [fault])["B"]
        for wire in wiring.conductors:
            if wire.name in fault.conductors:
                assert seen.wires[wire.name].faults == (fault,)
                assert seen.wires[wire.name].lands == ends[wire.name]
            else:
                assert seen.wires[wire.name].kind is LineKind.PLANNED
        drawn = {wire.name for wire in layout.alone(wiring, fault).wires}
        assert {name for name in fault.conductors if name in wiring.by_name} <= drawn
