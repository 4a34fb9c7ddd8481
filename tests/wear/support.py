"""A program whose cables wear out."""

from uuid import UUID

from tests.home.support import Truck, truck
from tests.support.program import Running
from tests.testlog.support import GOOD, OPEN_2


def item(at: Truck, label: str) -> UUID:
    return at.ids[at.tags[label]]


def worn_out(program: Running, failures: int, good: int) -> Truck:
    """Cables on one frame, of which some fail: one more at each of the tests that come every five days."""
    gear = [(f"cable {number}", "Frame 1", 10) for number in range(failures + good)]
    at = truck(program, *gear)
    for turn in range(failures):
        for number in range(turn, failures + good):
            at.test(at.tags[f"cable {number}"], OPEN_2 if number == turn else GOOD)
        program.clock.ahead(days=5)
    return at
