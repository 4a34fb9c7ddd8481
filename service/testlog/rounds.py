"""How much of a season's rounds is done."""

from datetime import timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import CompoundSelect, Select, func, select
from sqlalchemy.orm import Session

from service.gear.core import ASKED
from service.gear.models import Item
from service.kit.dates import midnight
from service.season import queries as season
from service.season.core import RoundProgress
from service.season.models import ItemSeason, RoundRow
from service.testlog.core import Verdict
from service.testlog.models import Test, TestItem, Void
from service.testlog.queries import DOUBTED


def progress(db: Session, season_id: UUID, zone: ZoneInfo) -> list[RoundProgress]:
    """How much of each round of a season is done."""
    return [_progress(db, row, zone) for row in season.rounds(db, season_id)]


def _progress(db: Session, row: RoundRow, zone: ZoneInfo) -> RoundProgress:
    asked = (
        select(ItemSeason.item_id)
        .join(Item, Item.id == ItemSeason.item_id)
        .where(ItemSeason.season_id == row.season_id, Item.state.in_(ASKED), Item.in_service_on < row.closes)
    )
    passed = (
        select(TestItem.item_id)
        .join(Test, Test.id == TestItem.test_id)
        .outerjoin(Void, Void.test_id == Test.id)
        .where(
            Test.verdict == Verdict.PASS,
            Test.tested_at >= midnight(row.opens, zone),
            Test.tested_at < midnight(row.closes, zone),
            Void.test_id.is_(None),
            ~DOUBTED,
        )
    )
    # An intersection, so that the tests are found by their days: asked for by item, all there ever were are read.
    done = _count(db, asked.intersect(passed))
    return RoundProgress(row.number + 1, row.opens, row.closes - timedelta(days=1), done, _count(db, asked))


def _count(db: Session, rows: Select[Any] | CompoundSelect[Any]) -> int:
    return db.scalar(select(func.count()).select_from(rows.subquery())) or 0
