"""What a trip needs in the case: the failures that wear expects, against the spares that are there."""

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.crew.queries import note_in_audit
from service.retire.decisions import queries as prices
from service.retire.decisions.core import Gear, Sort, is_shortened
from service.retire.lists.actions import pull_list
from service.retire.lists.queries import PullList
from service.retire.spares.core import CarryPlan, Length, Trip, by_group, planned
from service.retire.spares.models import SpareTrip
from service.season.models import Event
from service.wear.queries import failed_by


@dataclass(frozen=True)
class SpareSort:
    """A sort of spares: how many failures the trip is expected to show, how many are there, to carry and to add.

    `now` and `after` are the chances that those of its kind and wiring are enough.
    """

    sort: Sort
    expected: float
    here: int
    carry: int
    add: int
    cents: int | None
    now: float
    after: float

    @property
    def group(self) -> tuple[int, str]:
        """What stands in for one another: its kind and wiring."""
        return self.sort.order[:2]


@dataclass(frozen=True)
class TripCase:
    """The case for a trip. `untold` is how many items in use wear cannot tell of; `full` is what it would take
    if it were packed from nothing; `gaps` are what the pull list finds nothing for.
    """

    trip: Trip
    last_day: date
    rows: list[SpareSort]
    plan: CarryPlan
    full: CarryPlan
    untold: int
    gaps: dict[Sort, int]

    @property
    def short_of_money(self) -> bool:
        """Whether the budget, or a price that nobody knows, keeps the case from being enough."""
        return self.plan.after < self.trip.percent / 100


def trip(db: Session) -> Trip:
    """The trip that the program carries spares for."""
    row = db.get(SpareTrip, 1)
    return Trip(row.days, row.percent, row.budget_cents) if row else Trip()


def set_trip(db: Session, new: Trip, actor: Actor) -> None:
    """Keep the trip that the program carries spares for."""
    db.merge(SpareTrip(id=1, **asdict(new)))
    note_in_audit(db, actor.now, actor.who.id, "spares.trip", "what spares are carried for", asdict(new))


def case_for(db: Session, event: Event, today: date, zone: ZoneInfo) -> TripCase:
    """What a trip to an event needs, once its pull list is done."""
    asked = trip(db)
    pull = pull_list(db, event, today, zone)
    last_day = event.on + timedelta(days=asked.days - 1)
    risk = failed_by(pull.wear, max(last_day, today))
    expected, untold = _expected(pull, risk)
    here = _here(pull)
    costs = prices.prices(db)
    sorts = sorted(expected.keys() | here.keys(), key=lambda sort: sort.order)
    lengths = [
        Length(
            f"{sort.kind} {sort.wiring}",
            sort.length_mm,
            expected[sort],
            here[sort],
            costs[sort].cents if sort in costs else None,
        )
        for sort in sorts
    ]
    plan = planned(lengths, asked.percent, asked.budget_cents)
    empty = [Length(each.group, each.length_mm, each.expected, 0, each.cents or 1) for each in lengths]
    full = planned(empty, asked.percent, 10**9)
    now, after = by_group(lengths, [each.here for each in lengths]), by_group(lengths, plan.carry)
    rows = [
        SpareSort(
            sort,
            length.expected,
            length.here,
            carry,
            add,
            length.cents,
            now[length.group],
            after[length.group],
        )
        for sort, length, carry, add in zip(sorts, lengths, full.carry, plan.add, strict=True)
    ]
    return TripCase(asked, last_day, rows, plan, full, untold, pull.shopping)


def _expected(pull: PullList, risk: Mapping[UUID, float]) -> tuple[dict[Sort, float], int]:
    """The failures that show, by sort, of what is in use after the list is done; and of how many wear cannot tell."""
    out = {line.item.id for line in pull.lines if line.comes_out}
    found: dict[Sort, float] = defaultdict(float)
    untold = 0
    for item_id in pull.in_use - out:
        gear = pull.gear[item_id]
        if item_id in risk:
            found[_sort(gear)] += risk[item_id]
        else:
            untold += 1
    return found, untold


def _here(pull: PullList) -> Counter[Sort]:
    """The spares that may go in, less those that the list takes; one that was cut too short counts for nothing."""
    taken = {line.spare.id for line in pull.open if line.spare and line.comes_out}
    left = (pull.gear[piece.id] for piece in pull.ready if piece.id not in taken)
    return Counter(_sort(gear) for gear in left if not is_shortened(gear.length_mm, gear.bought_mm, pull.limits))


def _sort(gear: Gear) -> Sort:
    return Sort(gear.kind, gear.wiring, gear.bought_mm)
