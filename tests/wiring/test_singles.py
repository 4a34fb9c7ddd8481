from collections import Counter
from math import comb

import pytest

from service.diagnosis.diagnosis import diagnose
from service.wiring.builtin import BUILTIN
from service.wiring.faults import COSTS, FaultClass, rebuild
from service.wiring.singles import kind, single_faults
from service.wiring.wirings import Conductor, wiring


def _count(key: str) -> Counter[FaultClass]:
    return Counter(fault.fault_class for fault in single_faults(BUILTIN[key]))


def test_the_single_faults_of_a_microphone_cable_can_be_counted_by_hand() -> None:
    # Three conductors to open; three shorts between them and three to the shell of each end; one pair to reverse;
    # shield with hot and shield with cold to exchange, and three wires to put on the shell's tag of each end.
    assert _count("xlr3") == {
        FaultClass.OPEN: 3,
        FaultClass.SHORT: 3 + 2 * 3,
        FaultClass.REVERSED_PAIR: 1,
        FaultClass.MISWIRE: 2 + 2 * 3,
    }


def test_the_single_faults_of_eight_lanes_can_be_counted_by_hand() -> None:
    assert _count("xlr3x8") == {
        FaultClass.OPEN: 24,
        FaultClass.SHORT: comb(24, 2) + 2 * 8 * 3,
        FaultClass.REVERSED_PAIR: 8,
        FaultClass.CROSSED_PAIRS: comb(8, 2),
        FaultClass.CROSSED_LANES: comb(8, 2),
        FaultClass.MISWIRE: comb(24, 2) - 8 + 2 * 8 * 3,
    }


def test_unlike_lanes_and_pairs_are_not_crossed_with_each_other() -> None:
    made = wiring(
        ["1", "2", "3", "4", "5"],
        ["1", "2", "3", "4", "5"],
        [
            Conductor("1", "A1", "B1", "shield", lane="1"),
            Conductor("2", "A2", "B2", "hot", "1", "1"),
            Conductor("3", "A3", "B3", "cold", "1", "1"),
            Conductor("4", "A4", "B4", "single", "2", "2"),
            Conductor("5", "A5", "B5", "cold", "2", "2"),
        ],
    )
    classes = {fault.fault_class for fault in single_faults(made)}
    assert not classes & {FaultClass.CROSSED_LANES, FaultClass.CROSSED_PAIRS}


def test_a_missing_bond_is_an_open_and_a_bonded_shell_no_short() -> None:
    assert _count("xlr3-bonded")[FaultClass.OPEN] == 3 + 2
    assert _count("xlr3-bonded")[FaultClass.SHORT] == 3 + 2 * 2


@pytest.mark.parametrize("key", ["xlr3", "xlr3-bonded", "xlr3-lifted", "xlr3-to-trs", "8p8c", "8p8c-to-xlr4"])
def test_the_diagnosis_finds_every_one_of_them(key: str) -> None:
    made = BUILTIN[key]
    for fault in single_faults(made):
        found = diagnose(made, rebuild(made, [fault]))
        assert found.verdict == "fail", fault
        assert sum(part.cost for part in found.faults) <= fault.cost


@pytest.mark.parametrize("key", BUILTIN)
def test_every_kind_has_words(key: str) -> None:
    kinds = {kind(BUILTIN[key], fault) for fault in single_faults(BUILTIN[key])}
    assert all(words and words[0].islower() for words in kinds)
    classes = {fault.fault_class for fault in single_faults(BUILTIN[key])}
    assert classes <= set(COSTS)


def test_kinds_say_what_matters() -> None:
    kinds = {kind(BUILTIN["d25-to-xlr8"], fault) for fault in single_faults(BUILTIN["d25-to-xlr8"])}
    assert {
        "an open shield",
        "a short between hot and cold",
        "a short between two lines",
        "a short between two shields",
        "a short to a shell",
        "a short to an unused contact",
        "two hot conductors exchanged",
        "shield and hot exchanged",
        "crossed lanes",
    } <= kinds
