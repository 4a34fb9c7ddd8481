"""Which spare goes in for which item, all at once, so that no long one is wasted on a short run. Pure.

Choosing pair by pair can take a spare that another item needed; choosing all at once is the assignment problem (Kuhn
1955), solved by SciPy's `linear_sum_assignment` (Crouse 2016). What is best is told by lexicographic order: most
items filled; then the least length to spare; then the spares that passed last. Of answers that are equal in all of
it, the one is taken that the order of the codes gives, whatever order they come in.

The 25 ft spare fits both, the 10 ft spare only one, so each gets its own:

>>> from uuid import UUID
>>> def piece(number, code, feet):
...     return Piece(UUID(int=number), code, "cable", "xlr3", (), round(feet * 304.8))
>>> spares = [Spare(piece(3, "C", 25), 0), Spare(piece(4, "D", 10), 0)]
>>> found = assigned([piece(1, "A", 10), piece(2, "B", 25)], spares)
>>> sorted((item.int, spare.int) for item, spare in found.items())
[(1, 4), (2, 3)]
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from uuid import UUID

OLDEST_DAYS = 1000
"""A pass older than this counts as this old: no program lets its spares go untested for years."""

Ports = tuple[tuple[str, int, str, str], ...]
"""The connectors of an item in order: end, number, type, gender."""
Shape = tuple[str, str, Ports]


@dataclass(frozen=True)
class FittingPiece:
    """An item as far as fitting goes. Length in millimeters, 0 where the kind has none."""

    id: UUID
    code: str
    kind: str
    wiring: str
    ports: Ports
    length_mm: int

    @property
    def shape(self) -> Shape:
        """What has to be the same for one to go in for another."""
        return self.kind, self.wiring, self.ports


@dataclass(frozen=True)
class Spare:
    """A spare that may go in, and how many days before the event it passed."""

    piece: FittingPiece
    passed_days: int


def fits(spare: FittingPiece, item: FittingPiece) -> bool:
    """Whether it can go in: the same wiring, connectors and genders at both ends, and as long or longer."""
    return spare.shape == item.shape and spare.length_mm >= item.length_mm


def assigned(items: Sequence[FittingPiece], spares: Sequence[Spare]) -> dict[UUID, UUID]:
    """The spare for each item that gets one, by their ids; none is used twice."""
    offered: dict[Shape, list[Spare]] = defaultdict(list)
    for spare in sorted(spares, key=lambda each: each.piece.code):
        offered[spare.piece.shape].append(spare)
    asked: dict[Shape, list[FittingPiece]] = defaultdict(list)
    for item in sorted(items, key=lambda each: each.code):
        if item.shape in offered:
            asked[item.shape].append(item)
    found: dict[UUID, UUID] = {}
    for shape, alike in asked.items():
        found |= _assigned(alike, offered[shape])
    return found


def fillable(items: Iterable[FittingPiece], spares: Sequence[Spare]) -> list[FittingPiece]:
    """Those of the items that can all be filled together; who comes first is preferred.

    What fits is nested: a spare that is long enough for one is so for all that are shorter. So a set can be filled
    just when its longest fit the longest spares, one by one.
    """
    lengths: dict[Shape, list[int]] = defaultdict(list)
    for spare in spares:
        lengths[spare.piece.shape].append(spare.piece.length_mm)
    taken: dict[Shape, list[int]] = defaultdict(list)
    chosen = []
    for item in items:
        longest = sorted([*taken[item.shape], item.length_mm], reverse=True)
        offered = sorted(lengths[item.shape], reverse=True)
        if len(longest) <= len(offered) and all(map(int.__ge__, offered, longest)):
            taken[item.shape].append(item.length_mm)
            chosen.append(item)
    return chosen


def _assigned(items: Sequence[FittingPiece], spares: Sequence[Spare]) -> dict[UUID, UUID]:
    import numpy as np
    from scipy.optimize import linear_sum_assignment  # both are loaded where they are used

    needed = np.array([item.length_mm for item in items], dtype=float)[:, None]
    excess = np.array([spare.piece.length_mm for spare in spares], dtype=float)[None, :] - needed
    passed = np.array([min(spare.passed_days, OLDEST_DAYS) for spare in spares], dtype=float)[None, :]
    # Each step of the order weighs more than all below it can add up to, over as many pairs as there can be.
    pairs = min(len(items), len(spares))
    millimeter = pairs * OLDEST_DAYS + 1.0
    unfilled = pairs * (max(excess.max(), 0.0) * millimeter + OLDEST_DAYS) + 1.0
    cost = np.where(excess >= 0, excess * millimeter + passed, unfilled)
    rows, columns = linear_sum_assignment(cost)
    pairing = zip(rows.tolist(), columns.tolist(), strict=True)
    return {items[row].id: spares[column].piece.id for row, column in pairing if excess[row, column] >= 0}
