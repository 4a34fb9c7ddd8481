"""How many spares of each length a trip needs, and which to buy next. Pure.

Failures that show on a trip come one by one and apart from each other, so how many of a length there are follows
Poisson's law around what wear expects. A longer spare stands in for a shorter one, never the other way round: a case
is enough when, for every length, the spares of that length and longer outnumber the failures of that length and
longer (Hall's condition for nested sets). `covered` adds that chance up exactly, from the longest length down.

What to buy comes by marginal analysis: again and again the piece that raises the logarithm of that chance most for
its price, until the chance is high enough or the money is gone (Fox 1966 shows that this gives a best answer for each
sum of money that it stops at, where every length is on its own; Sherbrooke's "Optimal Inventory Modeling of Systems"
uses it for spares kits; both from memory). Where lengths stand in for each other it is near the best, and what turns
out to be more than is needed is left out again at the end.

Three spares cover a mean of one failure at 95 %, and two do not:

>>> [round(covered([1.0], [spares]), 4) for spares in (2, 3)]
[0.9197, 0.981]
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import exp, log, prod

Carried = tuple[int, ...]
"""How many spares of each length, the shortest first; several wirings stand behind one another."""


@dataclass(frozen=True)
class Trip:
    """How many days a trip has, in how many of a hundred trips the spares must be enough, and what may be spent.

    A weekend, 95 of 100 and 200 dollars are usual (common practice, no source).
    """

    days: int = 3
    percent: int = 95
    budget_cents: int = 20_000


@dataclass(frozen=True)
class Length:
    """Spares of one length: how many failures the trip is expected to show, how many are there, what one costs.

    `group` tells what can stand in for what: the same kind and wiring. `cents` None: no price is known, so that none
    can be bought within a budget.
    """

    group: str
    length_mm: int
    expected: float
    here: int = 0
    cents: int | None = None


@dataclass(frozen=True)
class CarryPlan:
    """What to carry and what of it to add to what is there, with the chance that it is enough before and after."""

    carry: Carried
    add: Carried
    now: float
    after: float
    cents: int


def covered(expected: Sequence[float], carried: Sequence[int]) -> float:
    """The chance that the spares are enough for the failures of one wiring, both the shortest length first."""
    return _covered(tuple(expected), tuple(carried))


@lru_cache(maxsize=4096)
def _covered(expected: tuple[float, ...], carried: Carried) -> float:
    """Exact: `left[n]` is the chance that n spares are left over from what is longer."""
    left = {0: 1.0}
    for mean, spares in zip(reversed(expected), reversed(carried), strict=True):
        after: dict[int, float] = {}
        chances = _poisson(mean, max(left) + spares)
        for over, chance in left.items():
            for failures in range(over + spares + 1):
                rest = over + spares - failures
                after[rest] = after.get(rest, 0.0) + chance * chances[failures]
        left = after
    return min(1.0, sum(left.values()))


def coverage(lengths: Sequence[Length], carried: Sequence[int]) -> float:
    """The chance that the spares are enough for all failures of a trip, of every wiring."""
    return prod(by_group(lengths, carried).values())


def by_group(lengths: Sequence[Length], carried: Sequence[int]) -> dict[str, float]:
    """The chance that the spares are enough, of each wiring by itself."""
    found = {}
    for group in dict.fromkeys(each.group for each in lengths):
        mine = sorted(
            (each.length_mm, each.expected, count)
            for each, count in zip(lengths, carried, strict=True)
            if each.group == group
        )
        found[group] = covered([mean for _, mean, _ in mine], [count for _, _, count in mine])
    return found


def planned(lengths: Sequence[Length], percent: int, budget_cents: int) -> CarryPlan:
    """What to add to what is there, within the budget, so that `percent` of trips are covered or nearly so."""
    here = tuple(each.here for each in lengths)
    costs = [each.cents for each in lengths]

    def value(carried: Carried) -> float:
        return log(max(coverage(lengths, carried), 1e-300))

    enough = log(percent / 100)
    carry = bought(value, here, costs, enough, budget_cents)
    add = tuple(after - before for after, before in zip(carry, here, strict=True))
    cents = sum(count * (cost or 0) for count, cost in zip(add, costs, strict=True))
    return CarryPlan(carry, add, exp(value(here)), exp(value(carry)), cents)


def bought(
    value: Callable[[Carried], float],
    start: Carried,
    costs: Sequence[int | None],
    enough: float,
    budget: int,
) -> Carried:
    """Marginal analysis: buy what raises `value` most for its cost, until it is `enough` or nothing more can be paid.

    Of equal ones the first is bought. What proves not to be needed is left out, the dearest first.
    """
    carried, spent, worth = start, 0, value(start)
    while worth < enough:
        best: tuple[float, Carried, float, int] | None = None
        for at, cost in enumerate(costs):
            if cost is None or spent + cost > budget:
                continue
            more = _with(carried, at, 1)
            gained = value(more)
            gain = (gained - worth) / max(cost, 1)
            if gain > 0 and (best is None or gain > best[0]):
                best = gain, more, gained, cost
        if best is None:
            return carried
        _, carried, worth, cost = best
        spent += cost
    for at in sorted(range(len(costs)), key=lambda at: -(costs[at] or 0)):
        while carried[at] > start[at] and value(_with(carried, at, -1)) >= enough:
            carried = _with(carried, at, -1)
    return carried


def _with(carried: Carried, at: int, by: int) -> Carried:
    return (*carried[:at], carried[at] + by, *carried[at + 1 :])


def _poisson(mean: float, most: int) -> list[float]:
    """The chances of 0 to `most` failures."""
    chances = [exp(-mean)]
    for count in range(1, most + 1):
        chances.append(chances[-1] * mean / count)
    return chances
