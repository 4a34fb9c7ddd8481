"""The progress of a season's rounds, and which lanes of an item are proven in the current one."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import CompoundSelect, Select, case, func, or_, select, tuple_
from sqlalchemy.orm import Session

from service.gear.models import ITEM_IS_ASKED, Item
from service.gear.wirings import find_wiring
from service.kit.dates import midnight
from service.season import queries as season
from service.season.core import DueState, RoundProgress, due_in_seasons
from service.season.models import ItemDue, ItemSeason, RoundRow
from service.testlog.core import Verdict, all_pass, days_by_lane, lanes_of_item
from service.testlog.models import NOT_VOIDED, Test, TestItem, Void
from service.testlog.queries import DOUBTED, events, suspected
from service.testlog.reach import SIDE_BY_SIDE, lane_names


def progress(db: Session, season_id: UUID, zone: ZoneInfo) -> list[RoundProgress]:
    """The progress of each round of a season."""
    return [_progress(db, row, zone) for row in season.rounds(db, season_id)]


def open_round(db: Session, season_id: UUID, today: date, zone: ZoneInfo) -> RoundProgress | None:
    """The progress of the round of a season that runs today, from the cached due states; None if none runs."""
    row = next((each for each in season.rounds(db, season_id) if each.opens <= today < each.closes), None)
    if row is None:
        return None
    passed = case((ItemDue.last_passed_at >= midnight(row.opens, zone), 1))
    query = (
        select(func.count(), func.count(passed))
        .select_from(ItemSeason)
        .join(Item, Item.id == ItemSeason.item_id)
        .outerjoin(ItemDue, ItemDue.item_id == Item.id)
        .where(ItemSeason.season_id == season_id, ITEM_IS_ASKED, Item.in_service_on < row.closes)
    )
    required, done = db.execute(query).one()
    return RoundProgress(row.number + 1, row.opens, row.closes - timedelta(days=1), done, required)


def _progress(db: Session, row: RoundRow, zone: ZoneInfo) -> RoundProgress:
    listed = (
        select(ItemSeason.item_id)
        .join(Item, Item.id == ItemSeason.item_id)
        .where(ItemSeason.season_id == row.season_id, ITEM_IS_ASKED, Item.in_service_on < row.closes)
    )
    asked_wirings = listed.with_only_columns(Item.wiring).distinct()
    passed = (
        select(TestItem.item_id)
        .join(Test, Test.id == TestItem.test_id)
        .join(Item, Item.id == TestItem.item_id)
        .outerjoin(Void, Void.test_id == Test.id)
        .where(
            Test.verdict == Verdict.PASS,
            Test.tested_at >= midnight(row.opens, zone),
            Test.tested_at < midnight(row.closes, zone),
            NOT_VOIDED,
            ~DOUBTED,
        )
    )
    lanes = {key: lane_names(find_wiring(db, key)) for (key,) in db.execute(asked_wirings)}
    several = [key for key, names in lanes.items() if len(names) > 1]
    # A test of a single lane, or of fewer lanes than an item has, proves these and not the whole item.
    covers = [
        (own, by)
        for own in several
        for by in dict.fromkeys((*several, *SIDE_BY_SIDE))
        if set(lanes[own]) <= set(lane_names(find_wiring(db, by)))
    ]
    whole = passed.where(or_(Item.wiring.not_in(several), tuple_(Item.wiring, Test.wiring).in_(covers)))
    # An intersection, so that the query uses the index on days; by item it would read all tests there ever were.
    lane_by_lane = _lane_by_lane(db, row, listed.where(Item.wiring.in_(several)), whole, zone)
    done = _count(db, listed.intersect(whole)) + lane_by_lane
    return RoundProgress(row.number + 1, row.opens, row.closes - timedelta(days=1), done, _count(db, listed))


def _lane_by_lane(db: Session, row: RoundRow, several: Select[UUID], whole: Select[UUID], zone: ZoneInfo) -> int:
    """How many of these items, which have several lanes, were proven in the round by several tests together."""
    opens, closes = midnight(row.opens, zone), midnight(row.closes, zone)
    tested = (
        select(TestItem.item_id)
        .join(Test, Test.id == TestItem.test_id)
        .where(Test.tested_at >= opens, Test.tested_at < closes)
    )
    left = set(db.scalars(several.intersect(tested))) - set(db.scalars(whole.where(Item.id.in_(several))))
    return sum(
        all_pass(history, [event for event in history if opens <= event.at < closes])
        for history in events(db, left).values()
    )


def _count(db: Session, rows: Select[Any] | CompoundSelect[Any]) -> int:
    return db.scalar(select(func.count()).select_from(rows.subquery())) or 0


@dataclass(frozen=True)
class LaneStands:
    """The status of a lane: `proven` in its round, or `suspect`: it has or may have an open fault."""

    name: str
    proven: bool
    suspect: bool


def lanes_now(
    db: Session, item_id: UUID, in_service_on: date, names: Sequence[str], today: date, zone: ZoneInfo
) -> list[LaneStands]:
    """The status of each of these lanes of an item today."""
    history, suspects = events(db, [item_id])[item_id], suspected(db, [item_id]).get(item_id, frozenset())
    answers_to = season.seasons_of(db, [item_id])[item_id]
    of_lane = dict(zip(lanes_of_item(history), days_by_lane(history, suspects, zone), strict=True))
    states = {name: due_in_seasons(answers_to, in_service_on, of_lane.get(name, []), today).state for name in names}
    return [LaneStands(name, state is DueState.CURRENT, state is DueState.BLOCKED) for name, state in states.items()]
