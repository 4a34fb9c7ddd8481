"""The season's list to buy: what is missing, what a trip needs besides, what it costs; and what is repaired. Pure."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from service.retire.choices.core import ComparedCosts
from service.retire.decisions.core import Action, Price, Purchase, Sort


@dataclass(frozen=True)
class Buy:
    """A sort to buy: how many for gaps on the pull list, how many more as spares, and last season beside it.

    Cents; `each` None where no price is known. `last_count` were bought last season, for `last_cents`, but for
    `last_unpriced` of which nobody wrote down the price.
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
        """What that comes to."""
        return None if self.each is None else self.each * self.count


@dataclass(frozen=True)
class Advised:
    """A piece that is repaired, or replaced for good, and why, a sentence each.

    `spare` is the code of what goes in for it, "" where nothing does; `in_list` whether a new one for it is on the list
    to buy. `comparison` is there while its fault is open.
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
    """What repairing so many pieces comes to, in cents, and new ones in their place, as far as their price is known;
    `unpriced` is of how many it is not.
    """

    pieces: int
    repair_cents: int
    new_cents: int
    unpriced: int


def repair_sum(repaired: Iterable[ComparedCosts]) -> RepairSum:
    """The sums over what is repaired."""
    prices = [(each.repair_price.cents, each.new_cents) for each in repaired]
    known = [new for _, new in prices if new is not None]
    return RepairSum(len(prices), sum(repair for repair, _ in prices), sum(known), len(prices) - len(known))


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
            sum(each.cents for each in bought.get(sort, ()) if each.cents is not None),
            sum(each.cents is None for each in bought.get(sort, ())),
        )
        for sort in sorts
    ]


def total(buys: Sequence[Buy]) -> int:
    """Cents for all of which the price is known."""
    return sum(each.cents for each in buys if each.cents is not None)


def within(purchases: Iterable[Purchase], first: date, until: date) -> list[Purchase]:
    """What was bought from `first` on, before `until`."""
    return [each for each in purchases if each.on is not None and first <= each.on < until]
