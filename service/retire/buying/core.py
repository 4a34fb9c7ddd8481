"""The season's list to buy: what is missing, what a trip needs as well, and what it costs; what to repair. Pure."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from service.retire.decisions.core import Action, Price, Purchase, Sort
from service.retire.repair_or_replace.core import ComparedCosts


@dataclass(frozen=True)
class Buy:
    """A sort to buy: how many for gaps on the pull list, how many more as spares, and the purchases of last season.

    `each` is the price in cents, None if unknown. `last_count` were bought last season; `last_cents` is what those with
    a known price cost, `last_unpriced` how many have none.
    """

    sort: Sort
    gaps: int
    spares: int
    each: int | None
    last_count: int = 0
    last_cents: int = 0
    last_unpriced: int = 0

    @property
    def count(self) -> int:
        """How many to buy."""
        return self.gaps + self.spares

    @property
    def cents(self) -> int | None:
        """The cost in cents; None if the price is unknown."""
        return None if self.each is None else self.each * self.count


@dataclass(frozen=True)
class Advised:
    """An item to repair or to retire, and why, one sentence a reason.

    `spare` is the code of the spare that goes in for it, "" if none does; `in_list`: a new one for it is on the list to
    buy. `comparison` is set while its fault is open.
    """

    id: UUID
    code: str
    name: str
    action: Action
    why: tuple[str, ...]
    comparison: ComparedCosts | None
    spare: str = ""
    in_list: bool = False


@dataclass(frozen=True)
class RepairSum:
    """The total cost of repairing `pieces` items, in cents, and of new ones instead, as far as their price is known;
    `unpriced` is for how many it is not.
    """

    pieces: int
    repair_cents: int
    new_cents: int
    unpriced: int


def repair_sum(repaired: Iterable[ComparedCosts]) -> RepairSum:
    """The totals over the items to repair."""
    prices = [(each.repair_price.cents, each.new_cents) for each in repaired]
    known = [new for _, new in prices if new is not None]
    return RepairSum(len(prices), sum(repair for repair, _ in prices), sum(known), len(prices) - len(known))


def to_buy(
    gaps: Mapping[Sort, int],
    spares: Mapping[Sort, int],
    prices: Mapping[Sort, Price],
    last: Iterable[Purchase],
) -> list[Buy]:
    """The list, by kind, wiring and length; it has what was bought last season even if none is needed now."""
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
            sum(each.cents for each in bought.get(sort, ()) if each.cents is not None),
            sum(each.cents is None for each in bought.get(sort, ())),
        )
        for sort in sorts
    ]


def total(buys: Sequence[Buy]) -> int:
    """The cost in cents of all with a known price."""
    return sum(each.cents for each in buys if each.cents is not None)


def within(purchases: Iterable[Purchase], first: date, until: date) -> list[Purchase]:
    """The purchases from `first` on, before `until`."""
    return [each for each in purchases if each.on is not None and first <= each.on < until]
