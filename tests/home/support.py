"""A truck to look at: cables on frames and in the spares case, in the fall season, with names instead of codes."""

from dataclasses import dataclass
from datetime import date
from uuid import UUID, uuid4

from service.crew.core import Who
from service.crew.queries import first_lead
from service.gear.actions import NewItem, add_items, place_for
from service.gear.core import ItemState, PlaceKind
from service.season.actions import add_event, add_season
from service.season.models import EventKind
from service.tags.actions import issue
from service.testlog.actions import call_suspect, change_state
from tests.support.program import Running
from tests.testlog.support import FALL, ZONE, Bench

FOOT = 304.8


@dataclass
class Truck(Bench):
    """The bench, with `tags`: each item's code by its label."""

    tags: dict[str, str]
    season: UUID

    def passes(self, *labels: str) -> None:
        for label in labels:
            self.test(self.tags[label])

    def suspect(self, label: str, note: str) -> None:
        with self.program.store.writing() as db:
            call_suspect(db, self.ids[self.tags[label]], uuid4(), note, self.lead, self.program.clock.now)

    def retire(self, label: str) -> None:
        item_id = self.ids[self.tags[label]]
        with self.program.store.writing() as db:
            change_state(db, item_id, ItemState.RETIRED, "worn out", self.lead, self.program.clock.now, ZONE)

    def event(self, name: str, on: date) -> UUID:
        with self.program.store.writing() as db:
            return add_event(db, self.season, name, EventKind.COMPETITION, on, self.program.clock.now).id


def truck(program: Running, *gear: tuple[str, str, int]) -> Truck:
    """Cables told as (label, place, feet); those whose place is a case are spares. Places walk in the order told."""
    now, season, ids = program.clock.now, uuid4(), {}
    with program.store.writing() as db:
        for label, place, feet in gear:
            spare = "Case" in place
            place_for(db, place, None, now, PlaceKind.CASE if spare else PlaceKind.FRAME)
            item = NewItem("cable", "xlr3", round(feet * FOOT), label=label, place=place, spare=spare)
            ids[label] = uuid4()
            add_items(db, item, [ids[label]], None, now, FALL.starts)
        codes = issue(db, list(ids.values()), now)
        add_season(db, season, "Fall", FALL, list(ids.values()), now)
        lead = first_lead(db)
    assert lead is not None
    who = Who(lead.id, lead.display_name, lead.role)  # type: ignore[arg-type]
    by_code = dict(zip(codes, ids.values(), strict=True))
    return Truck(program, by_code, who, dict(zip(ids, codes, strict=True)), season)
