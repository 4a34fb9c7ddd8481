"""Moving single conductors to where the readings want them.

Any exchange of landings can be built from swaps of two, each of which brings one conductor where it is worth more;
a cycle of k conductors takes k - 1 of them, which is its cost as a miswire. So the search takes the first conductor
that is not well placed, tries each position that would suit it, and the choice to leave it, and goes on. A branch is
left once it cannot match the best cost known.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from service.wiring.search.case import UNPROBED, Case
from service.wiring.search.mending import Mending, mend
from service.wiring.search.plan import Landing


@dataclass(frozen=True, slots=True)
class Settled:
    """A landing reached by `moves` swaps of two, and how what it leaves is mended."""

    moves: int
    landing: Landing
    mending: Mending

    @property
    def cost(self) -> int:
        """Swaps, opens and shorts together."""
        return self.moves + self.mending.cost


class Mover:
    """Settles landings of one case, and remembers what each has cost to mend."""

    def __init__(self, case: Case) -> None:
        self._case = case
        self._mended: dict[Landing, Mending | None] = {}

    def settle(self, landing: Landing) -> list[Settled]:
        """Every way found to settle from `landing` at the least cost."""
        search = _Search(self._case, self._mend)
        search.visit(landing, 0, frozenset())
        return search.best

    def _mend(self, landing: Landing) -> Mending | None:
        if landing not in self._mended:
            self._case.effort -= 10
            self._mended[landing] = mend(self._case, landing)
        return self._mended[landing]


class _Search:
    def __init__(self, case: Case, mend_landing: Callable[[Landing], Mending | None]) -> None:
        self._case = case
        self._mend = mend_landing
        self._seen: dict[tuple[Landing, frozenset[int]], int] = {}
        self._lowest: int | None = None
        self.best: list[Settled] = []

    def visit(self, landing: Landing, moves: int, left: frozenset[int]) -> None:
        """Settle the first conductor that could be better placed and is not `left` where it is."""
        self._case.effort -= 1
        if self._seen.get((landing, left), moves + 1) <= moves:
            return
        self._seen[landing, left] = moves
        restless = self._case.restless(landing)
        movable = [wire for wire in restless if wire not in left]
        if self._hopeless(landing, moves, restless, len(movable)):
            return
        for wire in movable:
            options = list(self._options(landing, wire))
            if options:
                break
            left |= {wire}
        else:
            self._arrive(landing, moves)
            return
        tired = self._case.effort < 0
        for _, moved in options[:1] if tired else options:
            self.visit(moved, moves + 1, left)
        if not tired and self._may_stay(wire, options):
            self.visit(landing, moves, left | {wire})

    def _arrive(self, landing: Landing, moves: int) -> None:
        if (
            self._lowest is not None
            and self._at_least(landing, moves, self._case.restless(landing)) > self._lowest
        ):
            return
        mending = self._mend(landing)
        if mending is None:
            return
        cost = moves + mending.cost
        if self._lowest is None or cost < self._lowest:
            self._lowest = cost
            self.best = []
        if cost == self._lowest and all(known.landing != landing for known in self.best):
            self.best.append(Settled(moves, landing, mending))

    def _at_least(self, landing: Landing, moves: int, cut: list[int]) -> int:
        case = self._case
        return moves + case.estimate(landing) - case.double_joins(cut) - case.hub_joins

    def _hopeless(self, landing: Landing, moves: int, restless: list[int], movable: int) -> bool:
        """Each move costs 1 and can better two conductors by 2 each."""
        if self._lowest is None:
            return False
        return self._at_least(landing, moves, restless) - movable * 3 // 2 > self._lowest

    def _options(self, landing: Landing, wire: int) -> Iterator[tuple[int, Landing]]:
        """(what is gained, the landing) for each position that suits the conductor better; the best gain first."""
        case = self._case
        now = landing[wire]
        here = case.worth(wire, now)
        wanted = list(case.positions.get(case.label[case.plan.a[wire]], ()))
        if here == 0:
            wanted += case.positions.get(UNPROBED, ())
        found = []
        for position in wanted:
            holder = landing.index(position)
            gain = case.worth(wire, position) + case.worth(holder, now) - here - case.worth(holder, position)
            if gain > 0:
                moved = list(landing)
                moved[wire], moved[holder] = position, now
                found.append((gain, tuple(moved)))
        return iter(sorted(found, key=lambda option: -option[0]))

    def _may_stay(self, wire: int, options: list[tuple[int, Landing]]) -> bool:
        """Whether leaving the conductor where it is could cost no more than moving it.

        With one position to go to, wanted by no other, moving saves an open and a join for the price of one.
        """
        case = self._case
        rivals = len(case.starts[case.label[case.plan.a[wire]]])
        return case.plan.tangled or rivals > 1 or len(options) > 1 or options[0][0] < 2
