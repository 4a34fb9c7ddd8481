"""Input lists: what carries each channel from its source to the mixer, item by item. Pure.

A line is the items that a channel's signal goes through, in order from the source to the mixer. It is stored as it was
laid; a spare that was swapped in takes the place of the other one in every line, so a line as of a moment is the stored
one with the swaps made since.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID

from service.gear.core import ASKED, End, ItemState
from service.kit.problems import invalid
from service.testlog.mating import Plug, PluggedPiece, entered, mate, misfit, way_out
from service.wiring.naming import listed

_MICROPHONE = PluggedPiece("the microphone", (Plug("xlr3", "XLR", "plug"), Plug("xlr3", "XLR", "plug")))
"""It sends from a plug with three contacts (common practice, no source)."""
MOST_CHANNELS = 256
MOST_ITEMS = 12
"""Of a line; a cable, a hub, a multicore and a fan-out are four."""


@dataclass(frozen=True, slots=True)
class NewChannel:
    """A channel to add, or as it is to be: its number at the mixer, its source ("Marimba 1 low"), its microphone,
    whether it needs phantom power, and the name of the place where the source stands; empty texts if not given.
    """

    number: int
    source: str
    microphone: str = ""
    phantom: bool = False
    place: str = ""


@dataclass(frozen=True, slots=True)
class SheetChannel:
    """A channel as a row of a sheet has it, with the number of the row. `codes` is None if the sheet has no column for
    the items, `stays` if it says nothing of the joints.
    """

    row: int
    entry: NewChannel
    codes: tuple[str, ...] | None
    lane: str
    stays: tuple[int, ...] | None


@dataclass(frozen=True, slots=True)
class LineItem:
    """An item of a line. `lane` is the one that the channel takes, None if the item has a single line. `stays` tells
    whether the joint before it, towards the source, stays plugged; else it is made at set-up.
    """

    item_id: UUID
    lane: str | None
    stays: bool


@dataclass(frozen=True, slots=True)
class Line:
    """The items of a line in order from the source to the mixer, since when it is so, and whether the joint at the
    mixer stays plugged.
    """

    since: datetime
    items: tuple[LineItem, ...]
    mixer_stays: bool = False


@dataclass(frozen=True, slots=True)
class SwappedIn:
    """A spare that took the place of a bad item."""

    bad: UUID
    spare: UUID
    at: datetime


@dataclass(frozen=True, slots=True)
class LinePiece:
    """An item as a line needs it: its code, connectors, the names of its lanes (empty if it has a single line), the
    places where it lives, and its state.
    """

    item_id: UUID
    code: str
    piece: PluggedPiece
    lanes: tuple[str, ...]
    places: frozenset[UUID]
    state: ItemState

    @property
    def is_in_use(self) -> bool:
        """Whether the program still has it: it is not retired or lost."""
        return self.state in ASKED


def with_swaps(line: Line, swaps: Sequence[SwappedIn], at: datetime) -> Line:
    """The line as of a moment: each spare in the place of the item for which it went in after the line was laid.

    `swaps` are in order of time. A swap of an item that is not in the line changes nothing.
    """
    items = line.items
    for swap in swaps:
        if line.since < swap.at <= at:
            items = tuple(replace(item, item_id=swap.spare) if item.item_id == swap.bad else item for item in items)
    return replace(line, items=items)


def lanes_taken(lines: Mapping[int, Line]) -> dict[tuple[UUID, str | None], int]:
    """The number of the channel that takes each lane of each item."""
    return {(item.item_id, item.lane): number for number, line in lines.items() for item in line.items}


def lay(
    pieces: Sequence[LinePiece],
    lane: str,
    taken: Mapping[tuple[UUID, str | None], int],
) -> tuple[LineItem, ...]:
    """The items of a new line, with the joints as they usually are: see `usually_stays`.

    Args:
        lane: the lane that the channel takes of each item with several; empty if nobody said.
        taken: the number of the other channel that takes a lane, as `lanes_taken` tells.

    Raises:
        Invalid: for `items` or `lane`, with the item at fault and the way out.
    """
    refuse_unusable(pieces)
    plugged = [each.piece for each in pieces]
    why = misfit(_from_source(plugged))
    if why is not None:
        raise invalid("items", f"{why} {way_out(plugged)}")
    lanes = [_lane(each, lane, taken) for each in pieces]
    return tuple(
        LineItem(each.item_id, own, usually_stays(before, each))
        for before, each, own in zip([None, *pieces], pieces, lanes, strict=False)
    )


def refuse_unusable(pieces: Sequence[LinePiece]) -> None:
    """Refuse a line that names an item twice, or one that is retired or lost.

    Raises:
        Invalid: for `items`, with the item at fault.
    """
    if not pieces:
        raise invalid("items", "Name at least one item: scan or type the codes, from the source to the mixer.")
    if len(pieces) > MOST_ITEMS:
        raise invalid("items", f"A line has at most {MOST_ITEMS} items, and these are {len(pieces)}.")
    seen = set[UUID]()
    for each in pieces:
        if each.item_id in seen:
            raise invalid("items", f"{each.piece.name} is named twice: a signal goes through an item once.")
        if not each.is_in_use:
            raise invalid("items", f"{each.piece.name} is {each.state}. Take another one, or bring it back first.")
        seen.add(each.item_id)


def _lane(each: LinePiece, lane: str, taken: Mapping[tuple[UUID, str | None], int]) -> str | None:
    if not each.lanes:
        other = taken.get((each.item_id, None))
        if other is not None:
            raise invalid(
                "items", f"{each.piece.name} carries channel {other}. Take another one, or free it there first."
            )
        return None
    free = [name for name in each.lanes if (each.item_id, name) not in taken]
    left = f"Free are {listed(free)}." if free else "None is free."
    if not lane:
        raise invalid("lane", f"{each.piece.name} has several lanes: say which one this channel takes. {left}")
    if lane not in each.lanes:
        raise invalid("lane", f"{each.piece.name} has no lane “{lane[:40]}”. {left}")
    other = taken.get((each.item_id, lane))
    if other is not None:
        raise invalid("lane", f"Lane {lane} of the {each.piece.name} is taken by channel {other}. {left}")
    return lane


def why_broken(line: Line, pieces: Mapping[UUID, LinePiece]) -> str:
    """The sentence that says why a line cannot carry its channel as its items are today; empty if it can.

    It is checked when it is laid, but later a spare with other connectors or lanes may go in, or an item be retired.
    """
    for item in line.items:
        each = pieces[item.item_id]
        if not each.is_in_use:
            return f"{each.piece.name} is {each.state}: put another item in its place."
        if (item.lane is None) != (not each.lanes) or (item.lane is not None and item.lane not in each.lanes):
            lane = f"lane {item.lane}" if item.lane else "a lane"
            return f"{each.piece.name} went in and does not have {lane} as the one before: lay the line anew."
    return misfit(_from_source([pieces[item.item_id].piece for item in line.items])) or ""


def entered_ends(pieces: Sequence[PluggedPiece]) -> list[End]:
    """The end of each item that faces the source; end A of all if they do not mate in this order."""
    chain = _from_source(pieces)
    if misfit(chain):
        return [End.A for _ in pieces]
    return [(End.A, End.B)[way] for way in entered(chain)[-len(pieces) :]]


def _from_source(pieces: Sequence[PluggedPiece]) -> list[PluggedPiece]:
    """The items with the microphone before them, if the first one can be plugged onto one: then its other end leads on.
    A signal goes one way, where a tester's may go either way.
    """
    plugs_on = any(mate(_MICROPHONE.ends[1], end) for end in pieces[0].ends)
    return [_MICROPHONE, *pieces] if plugs_on else [*pieces]


def usually_stays(before: LinePiece | None, item: LinePiece) -> bool:
    """Whether a joint usually stays plugged: a microphone's on its frame, or that of two items that live at one place
    (common practice, no source).
    """
    return before is None or bool(before.places & item.places)


def joined_again(items: Sequence[LineItem], stays: Collection[int]) -> tuple[tuple[LineItem, ...], bool]:
    """The same line with these joints staying plugged, and all others made at set-up: joint 0 is the microphone's, the
    last one the mixer's.
    """
    joints = tuple(replace(item, stays=number in stays) for number, item in enumerate(items))
    return joints, len(items) in stays


def next_number(numbers: Collection[int]) -> int:
    """The lowest channel number that is free."""
    return next(number for number in range(1, len(numbers) + 2) if number not in numbers)
