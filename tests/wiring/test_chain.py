import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.wiring.builtin import BUILTIN
from service.wiring.chain import ChainPiece, hidden
from service.wiring.faults import Fault, FaultClass

REVERSED = Fault(FaultClass.REVERSED_PAIR, ("2", "3"))
LANE_1_REVERSED = Fault(FaultClass.REVERSED_PAIR, ("24", "12"))
CROSSED = Fault(FaultClass.CROSSED_LANES, ("24", "12", "25", "10", "23", "11"), lanes=("1", "2"))


def _cable(name: str, *faults: Fault) -> ChainPiece:
    return ChainPiece(name, BUILTIN["xlr3"], faults)


def _trunk(name: str, lane: str, *faults: Fault) -> ChainPiece:
    return ChainPiece(name, BUILTIN["d25x8"], faults, lane)


def test_two_reversed_cables_hide_each_other() -> None:
    (words,) = hidden([_cable("cable K3M", REVERSED), _cable("cable P9Q"), _cable("cable T7W", REVERSED)])
    assert words.startswith("Cable K3M and cable T7W each swap hot and cold and hide each other")
    assert "before you exchange any" in words


def test_one_reversed_cable_turns_the_line_over() -> None:
    assert hidden([_cable("cable K3M", REVERSED), _cable("cable P9Q")]) == [
        "Cable K3M swaps hot and cold: sound comes out reversed."
    ]


def test_a_sound_line_says_nothing() -> None:
    broken = Fault(FaultClass.OPEN, ("2",))
    assert hidden([_cable("one"), _cable("two", broken)]) == []
    assert hidden([]) == []


def test_only_the_lane_that_the_line_takes_counts() -> None:
    assert hidden([_cable("lead", REVERSED), _trunk("trunk", "1", LANE_1_REVERSED)])[0].count("hide each other")
    assert hidden([_trunk("trunk", "2", LANE_1_REVERSED)]) == []
    assert hidden([_trunk("trunk", "3", CROSSED)]) == []


def test_two_pieces_that_cross_the_same_lanes_hide_each_other() -> None:
    (words,) = hidden([_trunk("trunk 1", "1", CROSSED), _trunk("trunk 2", "2", CROSSED)])
    assert "each swap lanes 1 and 2 and hide each other" in words
    (words,) = hidden([_trunk("trunk 1", "1", CROSSED), _cable("lead")])
    assert words == "Trunk 1 swaps lanes 1 and 2: sound comes out in the wrong channel."


@given(st.lists(st.booleans(), min_size=1, max_size=8))
def test_parity_decides(swapped: list[bool]) -> None:
    words = hidden([_cable(f"cable {at}", *[REVERSED] * swaps) for at, swaps in enumerate(swapped)])
    if not any(swapped):
        assert words == []
    else:
        assert ("hide each other" in words[0]) == (sum(swapped) % 2 == 0)
        assert ("reversed" in words[0]) == (sum(swapped) % 2 == 1)


@pytest.mark.parametrize("count", [3, 5])
def test_an_odd_number_names_all(count: int) -> None:
    (words,) = hidden([_cable(f"cable {at}", REVERSED) for at in range(count)])
    assert "Mend all of them" in words
