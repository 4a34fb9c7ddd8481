"""The season's list to buy, put together from the pull list, the case for the trip, prices and purchases."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.core import ProgramFacts
from service.gear.queries import ItemFacts, item_namer
from service.retire.buying.core import Buy, RepairCost, to_buy, total, within
from service.retire.decisions import queries as decisions
from service.retire.decisions.core import Gear, Limits, Price, Sort, left_of_price, repair_cost
from service.retire.lists.actions import event_for
from service.retire.spares.actions import case_for
from service.season import queries as season
from service.season.core import Due, DueState
from service.season.models import Event, SeasonRow


@dataclass(frozen=True)
class Buying:
    """What to buy in a season, and what to repair instead. `event` is the one whose pull list and trip it is for.

    `enough`: the case is, with the spares that are on the list.
    """

    season: SeasonRow | None
    last: SeasonRow | None
    event: Event | None
    buys: list[Buy]
    repairs: list[RepairCost]
    enough: bool

    @property
    def now(self) -> list[Buy]:
        """What is to be bought now."""
        return [each for each in self.buys if each.count]

    @property
    def cents(self) -> int:
        """What it comes to, as far as prices are known."""
        return total(self.buys)

    @property
    def last_cents(self) -> int:
        """What was spent last season."""
        return sum(each.last_cents for each in self.buys)

    @property
    def repair_cents(self) -> int:
        """What repairing all that is worth it comes to."""
        return sum(each.repair_cents for each in self.repairs if not each.retires)

    @property
    def replace_cents(self) -> int:
        """What new ones would come to instead."""
        return sum(each.new_cents or 0 for each in self.repairs if not each.retires)


def buying(db: Session, today: date, zone: ZoneInfo, program: ProgramFacts) -> Buying:
    """The list as of today, for the next event."""
    event = event_for(db, None, today)
    rows = season.seasons(db)
    this = season.current(rows, today)
    last = next((row for row in rows if this and row.starts < this.starts), None)
    case = case_for(db, event, today, zone) if event else None
    gaps, spares = (case.gaps, case.adds) if case else ({}, {})
    known = decisions.prices(db)
    bought = within(decisions.purchases(db), last.starts, this.starts) if this and last else []
    repairs = _repairs(db, known, decisions.limits(db), today, program)
    return Buying(this, last, event, to_buy(gaps, spares, known, bought), repairs, case is None or case.enough)


def _repairs(
    db: Session, known: dict[Sort, Price], limits: Limits, today: date, program: ProgramFacts
) -> list[RepairCost]:
    broken = decisions.broken(db)
    lengths, costs, name = decisions.bought_lengths(db), decisions.repair_costs(db), item_namer(program)
    found = []
    for item, code in broken:
        sort = Sort(item.kind, item.wiring, lengths.get(item.id, item.length_mm))
        gear = _as_gear(item, known.get(sort), costs.get(item.kind))
        repair, left = repair_cost(gear, limits), left_of_price(gear, limits, today)
        retires = left is not None and repair > left
        found.append(RepairCost(code, name(item), repair, gear.price_cents, left, retires))
    return found


def _as_gear(item: ItemFacts, price: Price | None, repair: int | None) -> Gear:
    blocked = Due(DueState.BLOCKED)
    return Gear(
        item.id,
        item.kind,
        item.wiring,
        item.length_mm,
        blocked,
        blocked,
        bought_on=item.bought_on,
        price_cents=price.cents if price else None,
        repair_cents=repair,
    )


def as_rows(buys: Sequence[Buy], names: dict[Sort, tuple[str, str, str]]) -> list[list[object]]:
    """The list as rows of a table: kind, wiring, length, counts and amounts in dollars."""
    return [
        [
            *names[each.sort],
            each.gaps,
            each.spares,
            each.count,
            _dollars(each.each),
            _dollars(each.cents),
            each.last_count,
            _dollars(each.last_cents),
        ]
        for each in buys
    ]


def _dollars(cents: int | None) -> str:
    return "" if cents is None else f"{cents / 100:.2f}"
