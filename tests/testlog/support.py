"""A bench to test on: items in a season, and the log's use cases in short."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.crew.core import Actor, Who
from service.crew.queries import first_lead
from service.gear.actions import NewItem, add_items
from service.gear.core import FlagKind, ItemState
from service.gear.models import Flag, Item
from service.season.actions import add_season
from service.season.core import Round, Season
from service.tags.actions import issue
from service.testlog.actions import log_repair, void_test
from service.testlog.core import Evidence, NewRepair, NewTest
from service.testlog.logging_tests import log_test
from service.wiring.faults import FaultClass
from tests.support.program import Running

ZONE = ZoneInfo("America/New_York")
FALL = Season(
    date(2026, 9, 1),
    date(2026, 11, 30),
    (Round(date(2026, 9, 1), date(2026, 10, 16)), Round(date(2026, 10, 16), date(2026, 12, 1))),
)
GOOD = [["A1", "B1"], ["A2", "B2"], ["A3", "B3"]]
OPEN_2 = [["A1", "B1"], ["A3", "B3"]]
FLEXED = (Evidence(FaultClass.FLEXED),)


@dataclass
class Bench:
    """Items by their codes, in a season, and what is done with them."""

    program: Running
    ids: dict[str, UUID]
    lead: Who

    @property
    def codes(self) -> list[str]:
        return list(self.ids)

    @property
    def actor(self) -> Actor:
        return Actor(self.lead, self.program.clock.now, ZONE)

    def test(self, code: str, joined: Any = GOOD, **more: Any) -> dict[str, Any]:
        now = self.program.clock.now
        with self.program.store.writing() as db:
            return log_test(db, NewTest(uuid4(), code, joined=joined, **more), self.lead, now, ZONE)

    def repair(self, code: str, what: str = "new plug", **more: Any) -> None:
        with self.program.store.writing() as db:
            log_repair(db, NewRepair(uuid4(), code, what, **more), self.lead, self.program.clock.now, ZONE)

    def void(self, test_id: str) -> None:
        with self.program.store.writing() as db:
            void_test(db, UUID(test_id), "wrong cable", self.lead, self.program.clock.now, ZONE)

    def state(self, code: str) -> ItemState:
        with self.program.store.reading() as db:
            return ItemState(db.get_one(Item, self.ids[code]).state)

    def flags(self, code: str, kind: FlagKind = FlagKind.SUSPECT) -> list[str]:
        """The periods of an item's open flags of one kind."""
        with self.program.store.reading() as db:
            query = select(Flag.period).where(Flag.item_id == self.ids[code], Flag.flag == kind)
            return list(db.scalars(query.where(Flag.cleared_at.is_(None)).order_by(Flag.id)))


def bench(program: Running, *wirings: str, spare: bool = False) -> Bench:
    """One item a wiring, all in the fall season; `hub` and `trunk` kinds by the wiring's shape."""
    now = program.clock.now
    with program.store.writing() as db:
        ids = [_item(db, wiring, spare, now) for wiring in wirings]
        codes = issue(db, ids, now)
        add_season(db, uuid4(), "Fall", FALL, ids, now)
        lead = first_lead(db)
    assert lead is not None
    return Bench(program, dict(zip(codes, ids, strict=True)), Who(lead.id, lead.display_name, lead.role))  # type: ignore[arg-type]


def _item(db: Session, wiring: str, spare: bool, now: datetime) -> UUID:
    kind = "cable" if wiring.startswith(("xlr3", "trs")) else "hub" if "-to-" in wiring else "trunk"
    item_id = uuid4()
    length = 0 if kind == "hub" else 3048
    add_items(db, NewItem(kind, wiring, length, spare=spare), [item_id], None, now, FALL.starts)
    return item_id
