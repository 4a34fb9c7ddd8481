"""A multicore through its hub and fan-out, lane by lane: what a three-contact tester showed, as one test. Pure.

The tester goes from lane to lane. A lane is good, or bad in one of the ways that such a tester shows, or was left out;
what was left out counts as not probed, so that a test of seven lanes proves seven.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from service.kit.problems import invalid
from service.wiring.wirings import Conductor, Wiring

CONTACTS = ("1", "2", "3")
TOUCHES = (("1", "2"), ("1", "3"), ("2", "3"))


class LaneReading(StrEnum):
    """What the tester showed of a lane."""

    GOOD = "pass"
    BAD = "fail"
    LEFT_OUT = "skip"


@dataclass(frozen=True)
class Lane:
    """A lane as it was found: of a bad one the contacts that did not arrive, those that touch, and 2 and 3 reversed.

    A bad lane of which nothing more is told is dead: nothing arrives.
    """

    name: str
    shown: LaneReading = LaneReading.LEFT_OUT
    open: frozenset[str] = frozenset()
    touching: tuple[tuple[str, str], ...] = ()
    reversed: bool = False

    @property
    def is_told(self) -> bool:
        """Whether it was said what is wrong with it."""
        return bool(self.open or self.touching or self.reversed)


def is_lane_by_lane(wiring: Wiring) -> bool:
    """Whether a wiring is three-contact lines side by side, as a multicore through hub and fan-out is."""
    return len(wiring.lanes) > 1 and all(
        [wire.name for wire in wires] == [f"{lane}.{contact}" for contact in CONTACTS]
        for lane, wires in wiring.lanes.items()
    )


def readings(wiring: Wiring, lanes: Sequence[Lane]) -> tuple[list[list[str]], list[str]]:
    """What was found, as groups of joined contacts and the contacts that were probed.

    Raises:
        Invalid: no lane was tested, or a good one is told to be bad.
    """
    if all(lane.shown is LaneReading.LEFT_OUT for lane in lanes):
        raise invalid("lanes", "Say of at least one lane whether it passed.")
    joined: list[list[str]] = []
    probed: set[str] = set()
    for lane in lanes:
        if lane.shown is not LaneReading.BAD and lane.is_told:
            raise invalid(
                "lanes",
                f"Something is ticked as found on lane {lane.name}. Mark it as failed, or take the ticks back.",
            )
        if lane.shown is not LaneReading.LEFT_OUT:
            wires = wiring.lanes[lane.name]
            joined += _joined(lane, wires)
            probed |= {contact for wire in wires for contact in (wire.a, wire.b)}
    return joined, sorted(probed, key=wiring.position.__getitem__)


def _joined(lane: Lane, wires: Sequence[Conductor]) -> list[list[str]]:
    a = dict(zip(CONTACTS, (wire.a for wire in wires), strict=True))
    b = dict(zip(CONTACTS, (wire.b for wire in wires), strict=True))
    if lane.shown is LaneReading.BAD and not lane.is_told:
        return []
    arrives = {"1": "1", "2": "3", "3": "2"} if lane.reversed else dict(zip(CONTACTS, CONTACTS, strict=True))
    reached = [[a[contact], b[arrives[contact]]] for contact in CONTACTS if contact not in lane.open]
    return reached + [[a[one], a[other]] for one, other in lane.touching]
