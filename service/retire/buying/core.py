"""The season's list to buy: what is missing, what a trip needs besides, what it costs; repair against replace. Pure."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from service.retire.decisions.core import Price, Purchase, Sort


@dataclass(frozen=True)
class Buy:
    """A sort to buy: how many for gaps on the pull list, how many more as spares, and last season beside it.

    Cents; `each` None where no price is known. `last_count` and `last_cents` are of what was bought last season.
    """

    sort: Sort
    gaps: int
    spares: int
    each: int | None
    last_count: int = 0
    last_cents: int = 0

    @property
    def count(self) -> int:
        """How many to buy."""
        return self.gaps + self.spares

    @property
    def cents(self) -> int | None:
        """What that comes to."""
        return None if self.each is None else self.each * self.count


@dataclass(frozen=True)
class RepairCost:
    """An item with an open fault: what a repair comes to, and what a new one costs."""

    code: str
    name: str
    repair_cents: int
    new_cents: int | None
    left_cents: int | None
    retires: bool


def to_buy(
    gaps: Mapping[Sort, int],
    spares: Mapping[Sort, int],
    prices: Mapping[Sort, Price],
    last: Iterable[Purchase],
) -> list[Buy]:
    """The list, by kind, wiring and length; what was bought last season is on it even where nothing is needed now."""
    bought: dict[Sort, list[Purchase]] = {}
    for each in last:
        bought.setdefault(each.sort, []).append(each)
    sorts = sorted({*gaps, *(sort for sort in spares if spares[sort]), *bought}, key=lambda sort: sort.order)
    return [
        Buy(
            sort,
            gaps.get(sort, 0),
            spares.get(sort, 0),
            prices[sort].cents if sort in prices else None,
            len(bought.get(sort, ())),
            sum(each.cents or 0 for each in bought.get(sort, ())),
        )
        for sort in sorts
    ]


def total(buys: Sequence[Buy]) -> int:
    """Cents for all of which the price is known."""
    return sum(each.cents or 0 for each in buys)


def within(purchases: Iterable[Purchase], first: date, until: date) -> list[Purchase]:
    """What was bought from `first` on, before `until`."""
    return [each for each in purchases if each.on is not None and first <= each.on < until]
