"""The stored fit in the demo: what is stored is what a new one says, and what an item showed since counts at once."""

import shutil
from collections.abc import Iterator
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path
from uuid import UUID, uuid4

import pytest
from sqlalchemy import select, update

from service.chores import CHORES, verify
from service.crew.core import Who
from service.crew.queries import first_lead
from service.gear.core import ItemState
from service.gear.models import Item
from service.kit.dates import local_date
from service.retire.decisions.core import COMES_OUT
from service.retire.lists.actions import event_for, pull_list
from service.store.sessions import Store
from service.tags.queries import codes_of
from service.testlog.core import NewTest
from service.testlog.housekeeping import keep_house, zone_of
from service.testlog.logging_tests import log_test
from service.wear import fits
from service.wear.core.risk import Chance, KnownItem
from service.wear.core.risk import chances as chances_of
from service.wear.models import WearFit
from service.wear.queries import chances, known_lives, records
from tests.support.demo import demo_file
from tests.support.program import START
from tests.testlog.support import GOOD, OPEN_2

DAY = timedelta(days=1)


class Demo:
    """The demo, with house kept."""

    def __init__(self, store: Store) -> None:
        self.store, self.now = store, START
        with store.reading() as db:
            self.zone, lead = zone_of(db), first_lead(db)
        assert lead is not None
        self.lead = Who(lead.id, lead.display_name, lead.role)  # type: ignore[arg-type]
        self.keep()

    @property
    def today(self) -> date:
        return local_date(self.now, self.zone)

    def keep(self) -> None:
        keep_house(self.store, self.now, CHORES)

    def test(self, item_id: UUID, *, passes: bool) -> None:
        with self.store.writing() as db:
            code = codes_of(db, [item_id])[item_id]
            log_test(db, NewTest(uuid4(), code, joined=GOOD if passes else OPEN_2), self.lead, self.now, self.zone)

    def chances(self) -> dict[UUID, Chance]:
        with self.store.reading() as db:
            return dict(chances(db, records(db, self.zone), self.today, self.today + 12 * DAY))

    def anew(self) -> dict[UUID, Chance]:
        """The same by a new fit to everything."""
        with self.store.reading() as db:
            items = records(db, self.zone)
        ages = {item_id: one.ages(self.today, self.today + 12 * DAY) for item_id, one in items.items()}
        known = {item_id: KnownItem(one.path, one.lives, ages[item_id]) for item_id, one in items.items()}
        return chances_of(known, fits.fit_now(known_lives(items)))

    def stored(self) -> fits.StoredFit:
        with self.store.reading() as db:
            found = fits.find_fit(db)
        assert found is not None
        return found

    def cables(self, count: int) -> list[UUID]:
        """Cables in service that have a chance, the riskiest first."""
        chance_of = self.chances()
        query = select(Item.id).where(Item.wiring == "xlr3", Item.state == ItemState.IN_SERVICE)
        with self.store.reading() as db:
            ids = [item_id for item_id in db.scalars(query) if item_id in chance_of]
        return sorted(ids, key=lambda item_id: -chance_of[item_id].failed)[:count]


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[Demo]:
    shutil.copy(demo_file(), tmp_path / "demo.db")
    with closing(Store(f"sqlite:///{tmp_path}/demo.db")) as store:
        yield Demo(store)


def close(mine: dict[UUID, Chance], other: dict[UUID, Chance]) -> bool:
    assert mine.keys() == other.keys()
    return all(
        [mine[key].failed, mine[key].if_tested] == pytest.approx([other[key].failed, other[key].if_tested], rel=1e-9)
        for key in mine
    )


def test_tests_count_at_once_and_the_fit_follows(demo: Demo) -> None:
    assert verify(demo.store, demo.now) == []
    before = demo.chances()
    assert close(before, demo.anew())
    passed, failed, *others = demo.cables(8)
    demo.test(failed, passes=False)
    with demo.store.reading() as db:
        event = event_for(db, None, demo.today)
        assert event is not None
        pull = pull_list(db, event, demo.today, demo.zone)
    assert {line.item.id: line.action in COMES_OUT for line in pull.open}[failed]
    demo.test(passed, passes=True)
    after = demo.chances()
    assert failed not in after
    assert after[passed].failed < before[passed].failed
    rest = before.keys() - {passed, failed}
    assert {item_id: after[item_id] for item_id in rest} == {item_id: before[item_id] for item_id in rest}
    assert demo.stored().revision == 1
    with demo.store.reading() as db:  # what was stored is not touched by what came since
        known = known_lives(records(db, demo.zone))
        fit = fits.fit_now(demo.stored().fit.items)
        under = {
            item_id: KnownItem(*known[item_id], records(db, demo.zone)[item_id].ages(demo.today, demo.today + 12 * DAY))
            for item_id in known
        }
    assert close(after, chances_of(under, fit))
    for item_id in others:
        demo.test(item_id, passes=True)
    demo.keep()
    assert demo.stored().revision == 2
    assert close(demo.chances(), demo.anew())
    assert verify(demo.store, demo.now) == []


def test_a_fit_is_made_when_enough_was_added_or_the_day_is_another(demo: Demo) -> None:
    demo.keep()
    assert demo.stored().revision == 1
    demo.test(demo.cables(1)[0], passes=True)
    demo.keep()
    assert demo.stored().revision == 1
    demo.now += DAY
    demo.keep()
    assert demo.stored().revision == 2
    demo.now += DAY
    demo.keep()
    assert demo.stored().revision == 2


def test_a_stored_fit_that_was_changed_is_told_and_without_one_all_is_reckoned(demo: Demo) -> None:
    chance_of = demo.chances()
    with demo.store.writing() as db:
        document = db.scalar(select(WearFit.document)) or ""
        db.execute(update(WearFit).values(revision=7, document=document.replace("[0,", "[1,", 1)))
    assert [line.partition(":")[0] for line in verify(demo.store, demo.now)] == ["wear"]
    with demo.store.writing() as db:
        db.execute(update(WearFit).values(revision=8, document=document.replace('"version":1', '"version":0')))
    assert close(demo.chances(), chance_of)
    demo.keep()
    assert demo.stored().revision == 9
    assert verify(demo.store, demo.now) == []
