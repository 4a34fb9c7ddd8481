"""A program whose cables wear out."""

from collections.abc import Iterable, Sequence
from datetime import date
from uuid import UUID

from service.season.core import HistoryEntry
from service.wear.core import lives as history_core
from service.wear.core.lives import Life, Stretch, item_lives
from tests.home.support import Truck, truck
from tests.support.program import Running
from tests.testlog.support import GOOD, OPEN_2


def lives(history: Iterable[HistoryEntry], exposure: Sequence[Stretch], *, came_good: bool = True) -> tuple[Life, ...]:
    """The lives of an item."""
    return item_lives(history, exposure, came_good=came_good).lives


def ages(history: Iterable[HistoryEntry], exposure: Sequence[Stretch], *days: date) -> tuple[int, ...] | None:
    """How old an item was at its last pass, and is on each of these days; None once it has failed."""
    life = item_lives(history, exposure).current
    return life and history_core.ages(life, exposure, *days)


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
