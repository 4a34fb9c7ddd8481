"""Lines as such: what is refused when one is laid, and what a line is after swaps."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid5

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.gear.core import End, ItemState
from service.kit.problems import Invalid
from service.lines.inputs.core import (
    Line,
    LineItem,
    LinePiece,
    SwappedIn,
    entered_ends,
    joined_again,
    lanes_taken,
    lay,
    next_number,
    why_broken,
    with_swaps,
)
from service.testlog.mating import Plug, PluggedPiece
from tests.support.examples import examples

SOCKET, PLUG = Plug("xlr3", "XLR", "socket"), Plug("xlr3", "XLR", "plug")
EIGHT = Plug("xlr3", "XLR", "socket", 8)
D_SOCKET, D_PLUG = Plug("d25", "25-way D", "socket"), Plug("d25", "25-way D", "plug")
LANES = tuple("12345678")
START = datetime(2026, 9, 1, 18, tzinfo=UTC)
_IDS = UUID("1c6a3b0e-0d0e-4d0c-9d5e-3f0b1c2d4e5f")
FRAME, TRUCK = uuid5(_IDS, "frame"), uuid5(_IDS, "truck")


def key(number: int) -> UUID:
    return uuid5(_IDS, str(number))


def cable(number: int, place: UUID = FRAME, state: ItemState = ItemState.IN_SERVICE) -> LinePiece:
    name = f"cable {number}"
    return LinePiece(key(number), str(number), PluggedPiece(name, (SOCKET, PLUG)), (), frozenset([place]), state)


HUB = LinePiece(key(90), "HUB", PluggedPiece("hub", (D_SOCKET, EIGHT)), LANES, frozenset([FRAME]), ItemState.IN_SERVICE)
TRUNK = LinePiece(
    key(91), "TRUNK", PluggedPiece("trunk", (D_PLUG, D_PLUG)), LANES, frozenset([TRUCK]), ItemState.IN_SERVICE
)


def refusal(
    pieces: list[LinePiece], lane: str = "", taken: dict[tuple[UUID, str | None], int] | None = None
) -> Invalid:
    with pytest.raises(Invalid) as caught:
        lay(pieces, lane, taken or {})
    return caught.value


def test_a_line_through_cable_hub_and_multicore_takes_one_lane_of_each_with_several() -> None:
    laid = lay([cable(1), cable(2), HUB, TRUNK], "3", {})
    assert [item.lane for item in laid] == [None, None, "3", "3"]
    assert [item.stays for item in laid] == [True, True, True, False]  # the multicore lives on the truck
    assert entered_ends([each.piece for each in (cable(1), HUB, TRUNK)]) == [End.A, End.B, End.A]


def test_what_cannot_be_a_line_is_refused_with_the_item_at_fault() -> None:
    assert refusal([cable(1), cable(2), cable(1)]).errors == {
        "items": "cable 1 is named twice: a signal goes through an item once."
    }
    for state in (ItemState.RETIRED, ItemState.LOST):
        assert f"cable 2 is {state}" in refusal([cable(1), cable(2, state=state)]).errors["items"]
    assert "hub and cable 1 do not mate" in refusal([HUB, cable(1)], "1").errors["items"]
    assert "Free are 1, 2, 3" in refusal([cable(1), HUB], "").errors["lane"]
    assert "no lane “9”" in refusal([cable(1), HUB], "9").errors["lane"]
    assert refusal([]).errors.keys() == {"items"}


def test_what_another_channel_takes_is_refused_with_its_number() -> None:
    lines = {4: Line(START, lay([cable(1), HUB, TRUNK], "3", {}))}
    taken = lanes_taken(lines)
    assert "Lane 3 of the hub is taken by channel 4" in refusal([cable(2), HUB], "3", taken).errors["lane"]
    assert "cable 1 carries channel 4" in refusal([cable(1), HUB], "2", taken).errors["items"]
    assert lay([cable(2), HUB, TRUNK], "2", taken)


swaps = st.lists(
    st.tuples(st.integers(0, 5), st.integers(0, 5), st.integers(-3, 10)).filter(lambda swap: swap[0] != swap[1]),
    max_size=8,
)


@examples(150)
@given(st.lists(st.integers(0, 5), min_size=1, max_size=4, unique=True), swaps, st.integers(-3, 12))
def test_a_line_as_of_a_moment_is_the_stored_one_with_the_swaps_since(
    items: list[int], made: list[tuple[int, int, int]], moment: int
) -> None:
    """Against a walk through the days, one swap at a time, item by item."""
    in_order = sorted(made, key=lambda swap: swap[2])
    line = Line(START, tuple(LineItem(key(number), None, stays=True) for number in items))
    swapped = [SwappedIn(key(bad), key(spare), START + timedelta(days=day)) for bad, spare, day in in_order]
    after = with_swaps(line, swapped, START + timedelta(days=moment))
    expected = list(items)
    for day in range(1, moment + 1):
        for bad, spare, on in in_order:
            if on == day:
                expected = [spare if number == bad else number for number in expected]
    assert [item.item_id for item in after.items] == [key(number) for number in expected]
    assert replace(after, items=line.items) == line


def test_what_went_in_but_cannot_carry_the_channel_is_told() -> None:
    pieces = {each.item_id: each for each in (cable(1), cable(2), HUB, TRUNK)}
    good = Line(START, lay([cable(1), HUB, TRUNK], "3", {}))
    assert why_broken(good, pieces) == ""
    instead = with_swaps(good, [SwappedIn(HUB.item_id, key(2), START + timedelta(days=1))], START + timedelta(days=2))
    assert (
        why_broken(instead, pieces) == "cable 2 went in and does not have lane 3 as the one before: lay the line anew."
    )
    lost = pieces | {key(1): cable(1, state=ItemState.LOST)}
    assert why_broken(good, lost) == "cable 1 is lost: put another item in its place."


@given(st.sets(st.integers(0, 4)))
def test_joints_are_numbered_from_the_microphone_to_the_mixer(stays: set[int]) -> None:
    laid = lay([cable(1), cable(2), HUB, TRUNK], "1", {})
    items, mixer_stays = joined_again(laid, stays)
    assert {number for number, item in enumerate(items) if item.stays} | ({4} if mixer_stays else set()) == stays


@given(st.sets(st.integers(1, 30)))
def test_the_next_number_is_the_lowest_free_one(numbers: set[int]) -> None:
    number = next_number(numbers)
    assert number not in numbers
    assert numbers >= set(range(1, number))
