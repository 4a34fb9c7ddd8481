"""Faults that hide each other along a line of several pieces plugged into one another.

A piece that swaps hot and cold turns the line over, and a second one turns it back: tested from end to end the line
is good, until somebody exchanges one of the two. Two pieces that cross the same lanes hide each other likewise.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from service.wiring.faults import Fault, FaultClass
from service.wiring.naming import listed, sentence
from service.wiring.wirings import Wiring


@dataclass(frozen=True, slots=True)
class ChainPiece:
    """One item of a line: what people call it, its wiring, its known faults, and the lane that the line takes."""

    name: str
    wiring: Wiring
    faults: tuple[Fault, ...]
    lane: str | None = None


def hidden(line: Sequence[ChainPiece]) -> list[str]:
    """One sentence for each kind of swap on the line: hidden where even in number, else what it does."""
    turning = [piece.name for piece in line if _turns(piece)]
    crossing: dict[tuple[str, ...], list[str]] = {}
    for piece in line:
        for lanes in _crossed(piece):
            crossing.setdefault(lanes, []).append(piece.name)
    told = [_told(turning, "hot and cold", right="the right way round", wrong="reversed")]
    for lanes, names in sorted(crossing.items()):
        what = f"lanes {listed(lanes)}"
        told.append(_told(names, what, right="in the right channel", wrong="in the wrong channel"))
    return [words for words in told if words]


def _turns(piece: ChainPiece) -> bool:
    """Whether the piece swaps hot and cold of the line's lane, an odd number of times."""
    reversals = [
        fault
        for fault in piece.faults
        if fault.fault_class is FaultClass.REVERSED_PAIR
        and (piece.lane is None or _lane(piece.wiring, fault) == piece.lane)
    ]
    return len(reversals) % 2 == 1


def _lane(wiring: Wiring, fault: Fault) -> str | None:
    return next((wiring.by_name[name].lane for name in fault.conductors), None)


def _crossed(piece: ChainPiece) -> list[tuple[str, ...]]:
    """The lanes that the piece crosses, where the line's lane is one of them."""
    return [fault.lanes for fault in piece.faults if fault.lanes and (piece.lane is None or piece.lane in fault.lanes)]


def _told(names: list[str], what: str, *, right: str, wrong: str) -> str:
    if not names:
        return ""
    who = sentence(listed(names))
    if len(names) == 1:
        return f"{who} swaps {what}: sound comes out {wrong}."
    if len(names) % 2:
        return f"{who} each swap {what}: sound comes out {wrong}. Mend all of them."
    return (
        f"{who} each swap {what} and hide each other: sound comes out {right} only while they stay together. "
        "Mend them all before you exchange any of them."
    )
