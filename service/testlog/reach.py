"""The lanes that a test reached of each piece that it went through. Pure.

A pass proves the lanes of each piece that the test went through and no others; after a fail only these lanes may be
bad. A test goes either through several lanes side by side, which are the same ones of each piece, or along a single
channel, which takes one lane of each piece with several.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from service.kit.problems import invalid
from service.wiring.builtin import BUILTIN
from service.wiring.naming import listed
from service.wiring.wirings import Wiring, lanes_of

ONE_LINE = ("",)
"""The lanes of a wiring for a single channel."""

SIDE_BY_SIDE = tuple(key for key in BUILTIN if key.startswith("xlr3x"))
"""The wirings for testing a multicore through its hub and fan-out: a three-contact line for each lane."""

NONE: frozenset[str] = frozenset()


FaultOnLanes = tuple[Collection[str], Collection[str]]
"""The parts of a fault that determine its lanes: its conductors, and the lanes that it crosses."""


@dataclass(frozen=True, slots=True)
class Reach:
    """The lanes that a test `proves`, and those on which it `fails`."""

    proves: frozenset[str]
    fails: frozenset[str]


@lru_cache(maxsize=256)
def lane_names(wiring: Wiring) -> tuple[str, ...]:
    """The lanes of a wiring, else its pairs; `ONE_LINE` if it has a single channel."""
    return tuple(lanes_of(wiring))


def of_test(wiring: Wiring, verdict: str, unproven: Collection[str], faults: Iterable[FaultOnLanes]) -> Reach:
    """The lanes that a test reached, in the wiring by which it was read.

    Args:
        verdict: "pass", "partial" or "fail".
        unproven: the conductors, and the later contacts of bonds, that were not probed.
        faults: of a fail, each fault's conductors and the lanes that it crosses; a fault with none of either (an
            intermittent, a cut jacket, a screen) counts for all lanes.
    """
    every = frozenset(lane_names(wiring))
    if verdict == "pass":
        return Reach(every, NONE)
    if len(every) == 1:
        return Reach(NONE, every if verdict == "fail" else NONE)
    of = {wire.name: lane for lane, wires in lanes_of(wiring).items() for wire in wires}
    fails: set[str] = set()
    for conductors, lanes in faults:
        on = {of[name] for name in conductors if name in of} | (every & set(lanes))
        fails |= on or every
    open_yet = {of[name] for name in unproven if name in of} | _of_bonds(wiring, unproven, of)
    return Reach(every - fails - open_yet, frozenset(fails))


def _of_bonds(wiring: Wiring, unproven: Collection[str], of: dict[str, str]) -> set[str]:
    """The lanes with a conductor at a bond that was not probed."""
    contacts = {contact for bond in wiring.bonds if bond.later in unproven for contact in (bond.earlier, bond.later)}
    return {of[wire.name] for wire in wiring.conductors if {wire.a, wire.b} & contacts and wire.name in of}


def of_piece(tested: Wiring, reach: Reach, piece: Wiring, lane: str | None) -> Reach:
    """The lanes of a piece that a test reached; `lane` is the one that a single channel took, None if unknown."""
    through, own = lane_names(tested), lane_names(piece)
    if through == ONE_LINE and own != ONE_LINE:
        if lane in own:
            one = frozenset([lane])
            return Reach(one if reach.proves else NONE, one if reach.fails else NONE)
        return Reach(NONE, frozenset(own) if reach.fails else NONE)
    if own == ONE_LINE:
        whole = frozenset(own)
        return Reach(whole if len(reach.proves) == len(through) else NONE, whole if reach.fails else NONE)
    hit = reach.fails & frozenset(own)
    return Reach(reach.proves & frozenset(own), hit or (frozenset(own) if reach.fails else NONE))


@lru_cache(maxsize=1024)
def of_pass(tested: Wiring, piece: Wiring, lane: str | None) -> Reach:
    """The lanes of a piece that a pass reached; cached, since most tests are passes and few of these differ."""
    return of_piece(tested, of_test(tested, "pass", (), ()), piece, lane)


def through_wiring(pieces: Sequence[tuple[str, Wiring]]) -> str:
    """The key of the wiring by which a test is read if none is given: of a single item its own.

    If one of the pieces has a single channel, the tester sees that one; a multicore tested through its hub and fan-out
    looks like three-contact lines side by side, one for each lane.
    """
    if len(pieces) > 1:
        single = next((key for key, wiring in pieces if lane_names(wiring) == ONE_LINE), None)
        side_by_side = f"xlr3x{min(len(lane_names(wiring)) for _, wiring in pieces)}"
        if single or side_by_side in BUILTIN:
            return single or side_by_side
    return pieces[0][0]


@dataclass(frozen=True)
class PluggedChain:
    """The wiring of each piece in order, and the key of the wiring by which a tester reads the whole chain."""

    wirings: list[Wiring]
    key: str

    @property
    def lanes(self) -> tuple[str, ...]:
        """The lanes that a single channel may take through the pieces with several; empty if no piece has several."""
        several = [lane_names(wiring) for wiring in self.wirings if lane_names(wiring) != ONE_LINE]
        return tuple(lane for lane in several[0] if all(lane in names for names in several)) if several else ()

    def asks_for_lane(self, tested: Wiring) -> bool:
        """Whether a test by this wiring takes a single channel through a piece with several lanes."""
        return lane_names(tested) == ONE_LINE and bool(self.lanes)


def lane_of_each(chain: PluggedChain, tested: Wiring, lane: str | None) -> list[str | None]:
    """The lane that a test by this wiring took of each piece; None if there is no choice or it is unknown.

    Raises:
        Invalid: for `lane` if the pieces have no such lane; for `wiring` if it has lanes and a piece has none.
    """
    lanes = [lane_names(wiring) for wiring in chain.wirings]
    if lane_names(tested) != ONE_LINE:
        if lane is not None:
            raise invalid("lane", "This test tells each lane by itself. Leave the lane out.")
        if len(lanes) > 1 and ONE_LINE in lanes:
            raise invalid("wiring", "One of the pieces has a single line, so this is a test of one lane of the others.")
        return [None] * len(lanes)
    if lane is not None and lane not in chain.lanes:
        known = f"It is one of {listed(chain.lanes)}." if chain.lanes else "Leave it out."
        raise invalid("lane", f"The pieces have no lane “{lane[:40]}” that goes through all of them. {known}")
    return [None if names == ONE_LINE else lane for names in lanes]
