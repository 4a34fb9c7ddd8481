"""A layout of microphones on the floor: what stands where, which lengths there are, what they cost, who plugs. Pure.

Lengths and positions are integer millimeters, prices integer cents, times seconds.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, isqrt


@dataclass(frozen=True)
class Point:
    """A place on the floor."""

    x: int
    y: int


@dataclass(frozen=True)
class Station:
    """Where one performer stands, with so many microphones; `half` and `across` are the cables that its size takes."""

    name: str
    at: Point
    mics: int
    half: int
    across: int


@dataclass(frozen=True)
class ChainEnd:
    """A box or hub: where chains end. It takes so many lines, or any number."""

    at: Point
    lines: int | None


@dataclass(frozen=True)
class PriceList:
    """What pieces cost; what has no price is not in it."""

    cables: Mapping[int, int]
    trunks: Mapping[int, int]
    hub: int | None
    box: int | None


@dataclass(frozen=True)
class SetupCrew:
    """How fast performers walk and plug, how many plug at once into one end, and from when on.

    All are ready at `ready_s`; an end takes no plug before `open_s`, when its trunk is laid.
    """

    walk_mm_s: float
    plug_s: float
    hands: int
    ready_s: float
    open_s: float


@dataclass(frozen=True)
class Floor:
    """All that does not depend on who leads into whom.

    `slack` stretches every distance. Cables reach over a distance of up to `gap` by themselves. `stock` and
    `trunk_stock` have the lengths that there are, in order, one at least.
    """

    stations: Mapping[str, Station]
    mixer: Point
    slack: Fraction
    gap: int
    stock: Sequence[int]
    trunk_stock: Sequence[int]

    def trunk(self, end: ChainEnd) -> int:
        """The length that a trunk from a box or hub to the mixer needs."""
        return self._stretched(end.at, self.mixer)

    def over_gap(self, one: Point, other: Point) -> int:
        """How much a cable needs to get from one middle to the other, on top of what it needs on its frame."""
        return max(0, self._stretched(one, other) - self.gap)

    def _stretched(self, one: Point, other: Point) -> int:
        return ceil(distance(one, other) * self.slack)


def distance(one: Point, other: Point) -> int:
    """The straight line between two places, rounded up."""
    square = (one.x - other.x) ** 2 + (one.y - other.y) ** 2
    root = isqrt(square)
    return root if root * root == square else root + 1


def shortest(stock: Sequence[int], need: int) -> int | None:
    """The shortest length of `stock`, which is in order, that is at least as long; None where all are too short."""
    return next((length for length in stock if length >= need), None)
