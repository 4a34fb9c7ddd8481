"""Housekeeping looks at wear only after a change of what it rests on, and notices every such change."""

from collections.abc import Callable
from datetime import date
from uuid import UUID

from sqlalchemy import delete, update
from sqlalchemy.orm import Session

from service.chores import CHORES
from service.gear.core import ItemState
from service.gear.models import Item, Place, Placement, Port
from service.season.models import ItemSeason, SeasonRow
from service.testlog.actions import change_state
from service.testlog.housekeeping import keep_house
from service.testlog.models import WrongMark
from service.wear.housekeeping import rests_on
from service.wear.models import WearFit
from tests.home.support import Truck
from tests.support.program import Running
from tests.support.statements import asked_of
from tests.testlog.support import ZONE
from tests.wear.support import item, worn_out


def looks(at: Truck) -> bool:
    """Whether a turn of housekeeping looks at every item's wear."""
    with asked_of(at.program.store.reader) as asked:
        keep_house(at.program.store, at.program.clock.now, CHORES)
    return any("item.revision, item.state" in each.text for each in asked)


def test_wear_is_looked_at_only_after_a_change_and_on_a_new_day(program: Running) -> None:
    at = worn_out(program, 2, 4)
    assert [looks(at) for _ in range(3)] == [True, True, False]  # the second has nothing to do, the third knows it
    at.passes("cable 3")
    assert [looks(at) for _ in range(3)] == [True, True, False]
    program.clock.ahead(days=1)
    assert looks(at)


def test_every_change_of_what_wear_rests_on_is_noticed(program: Running) -> None:
    at = worn_out(program, 1, 3)
    keep_house(program.store, program.clock.now, CHORES)
    one, code = item(at, "cable 1"), at.tags["cable 1"]
    test = UUID(at.test(code)["id"])
    seen = {digest(at)}
    assert seen == {digest(at)}

    def retire(db: Session) -> None:
        change_state(db, one, ItemState.RETIRED, "worn", at.lead, program.clock.now, ZONE)

    def mark(db: Session) -> None:
        db.add(WrongMark(test_id=test, at=program.clock.now, person_id=None, note=""))

    changes: list[Callable[[Session], object]] = [
        mark,
        retire,
        lambda db: db.execute(update(Item).where(Item.id == one).values(batch="second lot")),
        lambda db: db.execute(update(Item).where(Item.id == one).values(bought_on=date(2026, 1, 2))),
        lambda db: db.execute(update(Item).where(Item.id == one).values(in_service_on=date(2026, 1, 2))),
        lambda db: db.execute(update(Placement).where(Placement.item_id == one).values(strapped=False)),
        lambda db: db.execute(update(Place).values(kind="shelf")),
        lambda db: db.execute(update(Port).where(Port.item_id == one).values(type="trs")),
        lambda db: db.execute(delete(ItemSeason).where(ItemSeason.item_id == one)),
        lambda db: db.execute(update(SeasonRow).values(ends=date(2027, 1, 2))),
        lambda db: db.execute(update(WearFit).values(revision=9)),
    ]
    for change in (at.test, at.repair):
        change(code)
        seen.add(digest(at))
    at.void(str(test))
    seen.add(digest(at))
    for write in changes:
        with program.store.writing() as db:
            write(db)
        seen.add(digest(at))
    program.clock.ahead(days=1)
    seen.add(digest(at))
    assert len(seen) == 1 + 2 + 1 + len(changes) + 1


def digest(at: Truck) -> str:
    """What wear rests on now."""
    with at.program.store.reading() as db:
        return rests_on(db, at.program.clock.now.date())
