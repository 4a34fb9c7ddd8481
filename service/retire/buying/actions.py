"""The season's list to buy, made from the pull list, the spares for the trip, prices and purchases."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.core import ProgramFacts
from service.gear.queries import item_namer
from service.kit.quantities import Unit
from service.retire.buying.core import Advised, Buy, RepairSum, repair_sum, to_buy, total, within
from service.retire.decisions import queries as decisions
from service.retire.decisions.core import COMES_OUT, Action, Reason, RetireReason, Sort, action_of, reasons_of_broken
from service.retire.lists.actions import event_for, judged_gear, pull_list
from service.retire.lists.queries import JudgedGear, PullList
from service.retire.repair_or_replace.core import costs_in_words
from service.retire.spares.actions import TripCase, case_of
from service.season import queries as season
from service.season.models import Event, SeasonRow
from service.store.changes import unless_changed
from service.wear.core.classes import failures_of
from service.wear.queries import records

COMPARED = (Reason.NOT_WORTH_IT, Reason.REPAIR_OR_REPLACE)
"""The reasons whose sentences already say what both choices cost."""


@dataclass(frozen=True)
class Buying:
    """What to buy in a season, and what to repair instead, for the pull list and the trip of `event`.

    `season` is that in which to buy, `last` the one before. `advised` are the items to repair or replace. `case` are
    the spares for the trip once all repairs are done, None if no event is coming. `failures` is how many failures with
    use the log has.
    """

    season: SeasonRow | None
    last: SeasonRow | None
    event: Event | None
    buys: list[Buy]
    advised: list[Advised]
    case: TripCase | None
    failures: int

    @property
    def now(self) -> list[Buy]:
        """The sorts of which at least one is to be bought."""
        return [each for each in self.buys if each.count]

    @property
    def cents(self) -> int:
        """The total in cents of all with a known price."""
        return total(self.buys)

    @property
    def repaired(self) -> list[Advised]:
        """The items to repair."""
        return [each for each in self.advised if each.action is Action.REPAIR_FIRST]

    @property
    def replaced(self) -> list[Advised]:
        """The items to retire."""
        return [each for each in self.advised if each.action is Action.RETIRE]

    @property
    def repair_sum(self) -> RepairSum:
        """The total cost of the repairs, and of new items instead."""
        return repair_sum(each.comparison for each in self.repaired if each.comparison)


def buying(db: Session, today: date, zone: ZoneInfo, program: ProgramFacts) -> Buying:
    """The list as of today, for the next event; made anew where anything was written since the last time."""
    return unless_changed(db, ("buying", today, zone.key, program), lambda: _buying(db, today, zone, program))


def _buying(db: Session, today: date, zone: ZoneInfo, program: ProgramFacts) -> Buying:
    event = event_for(db, None, today)
    rows = season.seasons(db)
    this = season.current(rows, today)
    last = next((row for row in rows if this and row.starts < this.starts), None)
    pull = pull_list(db, event, today, zone, whole=True) if event else None
    judged = pull.judged_gear if pull else judged_gear(db, None, today, zone)
    advised, wear = advised_items(judged, pull, today, program), records(db, zone)
    case = case_of(db, pull, wear, today, _comes_back(advised)) if pull else None
    gaps, spares = (case.gaps, case.adds) if case else ({}, {})
    bought = within(decisions.purchases(db), last.starts, this.starts) if this and last else []
    return Buying(
        this,
        last,
        event,
        to_buy(gaps, spares, judged.prices, bought),
        advised,
        case,
        failures_of(life for record in wear.values() for life in record.lives),
    )


def advised_items(judged: JudgedGear, pull: PullList | None, today: date, program: ProgramFacts) -> list[Advised]:
    """The items to repair or replace, in walking order: those with an open fault, and those the pull list takes out."""
    broken = reasons_of_broken(judged.gear.values(), judged.limits, today, Unit(program.unit))
    rows = {row.item.id: row for row in pull.rows} if pull else {}
    name, advised = item_namer(program), []
    for one in judged.standings:
        gear, row = judged.gear[one.item.id], rows.get(one.item.id)
        is_open = row is not None and row.done is None
        if gear.id not in broken and (row is None or not (is_open or row.waits)):
            continue
        reasons = broken.get(gear.id) or (row.decided.retire_reasons if row and row.decided else ())
        action = row.action if row and (is_open or gear.id not in broken) else action_of(reasons)
        if action not in COMES_OUT:
            continue
        decision = row.lead_decision if row and is_open else None
        why = (
            [f"{decision.by}: {decision.reason}"]
            if decision
            else [each.why for each in reasons if _explains(each, action)]
        )
        if gear.comparison and (decision or not any(each.reason in COMPARED for each in reasons)):
            why.append(costs_in_words(gear.comparison, today))
        spare, in_list = ((row.spare_code or ""), pull.is_bought(row)) if pull and row else ("", False)
        advised.append(Advised(gear.id, one.code, name(one.item), action, tuple(why), gear.comparison, spare, in_list))
    return advised


def _comes_back(advised: Iterable[Advised]) -> dict[UUID, float]:
    """The items to repair, each with the chance that it fails again by the event; 0 if that is unknown."""
    repaired = ((each.id, each.comparison) for each in advised if each.action is Action.REPAIR_FIRST)
    return {item_id: (costs.repaired.bad or 0.0) if costs and costs.repaired else 0.0 for item_id, costs in repaired}


def _explains(reason: RetireReason, action: Action) -> bool:
    """Whether a reason explains the action; that the item failed is obvious here and left out."""
    return reason.action in (action, Action.WATCH) and reason.reason is not Reason.BLOCKED


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
            _dollars(each.last_cents if each.last_count > each.last_unpriced or not each.last_count else None),
            each.last_unpriced,
        ]
        for each in buys
    ]


def _dollars(cents: int | None) -> str:
    return "" if cents is None else f"{cents / 100:.2f}"
