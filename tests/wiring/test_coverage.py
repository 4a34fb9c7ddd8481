import pytest

from service.testlog.core import Method
from service.wiring import phantom
from service.wiring.builtin import BUILTIN
from service.wiring.coverage import CANCELLING, VISIBILITY_OF_METHOD, coverage, not_proven, pass_words
from service.wiring.faults import BLIND_TO, COSTS, FaultClass, rebuild
from service.wiring.phantom import diagnose_phantom
from service.wiring.visibility import Visibility, alike, view
from service.wiring.wirings import read
from tests.wiring.far_end import far_end_volts

XLR3 = BUILTIN["xlr3"]


@pytest.mark.parametrize("key", ["8p8c", "8p8c-screened", "8p8c-to-xlr4", "d25x8"])
def test_continuity_at_both_ends_reveals_what_the_wire_map_paper_says(key: str) -> None:
    # “Cable Testing Definitions”, a paper listing the wire-map items of TIA: a DC test of both ends reveals open,
    # short, reversed and crossed pairs and other miswires, and cannot reveal a split pair.
    assert not coverage(BUILTIN[key], Visibility.METER).missed
    assert "a split pair" in not_proven(BUILTIN[key], Visibility.METER)


def test_a_single_pair_cannot_be_split() -> None:
    assert "a split pair" not in not_proven(XLR3, Visibility.METER)


def test_lamps_that_show_straight_through_miss_every_short() -> None:
    found = coverage(XLR3, Visibility.STRAIGHT)
    assert found.proven == (FaultClass.OPEN, FaultClass.REVERSED_PAIR, FaultClass.MISWIRE)
    assert found.unseen == (FaultClass.SHORT,)


def test_lamps_that_show_crossings_miss_only_the_shells() -> None:
    assert not_proven(XLR3, Visibility.CROSS) == [
        "a short to a shell",
        "a contact that comes and goes",
        "high resistance",
    ]


def test_lamps_that_reach_no_shell_do_not_prove_a_bond() -> None:
    assert "a shell that is not joined to its contact" in not_proven(BUILTIN["xlr3-bonded"], Visibility.CROSS)
    assert "a shell that is not joined to its contact" not in not_proven(BUILTIN["xlr3-bonded"], Visibility.METER)


def test_phantom_volts_miss_what_reads_alike_without_a_load() -> None:
    # IEC 61938 feed by nodal analysis: unloaded, a 2-3 short and a 2-3 reversal look good; the load finds the short.
    bare, loaded = (not_proven(XLR3, visibility) for visibility in (Visibility.PHANTOM, Visibility.PHANTOM_LOADED))
    assert {"a short between hot and cold", "a reversed pair"} <= set(bare)
    assert "a short between hot and cold" not in loaded
    assert "a reversed pair" in loaded
    assert FaultClass.OPEN in coverage(XLR3, Visibility.PHANTOM).proven


@pytest.mark.parametrize("loaded", [False, True])
def test_phantom_coverage_agrees_with_the_phantom_diagnosis(loaded: bool) -> None:
    # Two models of one thing: the diagnosis fits supply and resistors, coverage compares volts.
    visibility = Visibility.PHANTOM_LOADED if loaded else Visibility.PHANTOM
    sound = view(XLR3, visibility, rebuild(XLR3, ()))
    for state in phantom.SIMPLE_STATES:
        seen_good = () in diagnose_phantom([far_end_volts(state, loaded=loaded)]).states
        assert alike(sound, view(XLR3, visibility, rebuild(XLR3, state.faults()))) == seen_good, state


def test_no_phantom_reading_without_a_shield() -> None:
    assert set(coverage(BUILTIN["8p8c"], Visibility.PHANTOM).unseen) == set(COSTS) - {FaultClass.CROSSED_LANES}


def test_an_ear_hears_the_wrong_channel_and_a_dead_one_but_not_polarity() -> None:
    found = coverage(BUILTIN["xlr3x4"], Visibility.LISTENING)
    assert {FaultClass.CROSSED_LANES, FaultClass.CROSSED_PAIRS} <= set(found.proven)
    assert FaultClass.REVERSED_PAIR in found.unseen
    missed = {fault.conductors for fault in found.missed[FaultClass.SHORT]}
    assert ("1.2", "1.3") not in missed


@pytest.mark.parametrize("key", BUILTIN)
def test_who_sees_more_misses_no_more(key: str) -> None:
    missed = [
        {fault for faults in coverage(BUILTIN[key], visibility).missed.values() for fault in faults}
        for visibility in (Visibility.STRAIGHT, Visibility.CROSS, Visibility.METER)
    ]
    assert missed[0] >= missed[1] >= missed[2] == set()


@pytest.mark.parametrize("key", BUILTIN)
@pytest.mark.parametrize("visibility", Visibility)
def test_every_class_is_proven_or_missed_and_what_a_pass_is_blind_to_never(key: str, visibility: Visibility) -> None:
    found = coverage(BUILTIN[key], visibility)
    assert not set(found.proven) & set(found.missed)
    assert set(found.unseen) <= set(found.missed)
    assert not set(found.proven) & set(BLIND_TO)
    assert not_proven(BUILTIN[key], visibility)[-2:] == ["a contact that comes and goes", "high resistance"]


def test_a_pass_through_several_pieces_may_hide_two_swaps() -> None:
    assert CANCELLING in not_proven(XLR3, Visibility.METER, pieces=2)
    assert CANCELLING not in not_proven(XLR3, Visibility.METER)


def test_what_a_tester_shows_as_good_is_not_proven() -> None:
    reversed_pair = read(XLR3, [["A1", "B1"], ["A2", "B3"], ["A3", "B2"]])
    lamps_only = read(XLR3, [["A1", "B1"], ["A2", "B3"], ["A3", "B2"]], ["A1", "A2", "A3", "B1", "B2", "B3"])
    for mistaken in (reversed_pair, lamps_only):
        assert "a reversed pair" in not_proven(XLR3, Visibility.METER, frozenset({mistaken}))


def test_the_sentence_under_a_pass() -> None:
    assert pass_words(XLR3, Visibility.METER) == (
        "Not ruled out by this test: a contact that comes and goes and high resistance."
    )


def test_every_method_of_the_test_log_has_its_sight() -> None:
    assert set(VISIBILITY_OF_METHOD) == {method.value for method in Method}
