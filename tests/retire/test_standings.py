"""Standings: after any write a list reads from them what it works out from the log."""

import shutil
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import date, timedelta
from random import Random
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlalchemy import delete, func, select, update
from sqlalchemy.orm import Session

from service.chores import CHORES, verify
from service.crew.core import Actor, Who
from service.crew.queries import first_lead
from service.gear import actions as gear
from service.gear.core import ItemState, PlaceKind
from service.gear.models import Item, Place
from service.home.seasons.actions import choose
from service.kit.dates import local_date
from service.kit.problems import Problem
from service.retire.decisions.actions import overrule, set_limits
from service.retire.decisions.core import Action, Limits, NewLeadDecision
from service.retire.lists.actions import event_for, pull_list
from service.retire.lists.queries import PullList
from service.retire.readiness.actions import EventReadiness, ready_by
from service.retire.standings import queries
from service.retire.standings.core import Standing, as_facts, of_facts
from service.retire.standings.models import StoredStanding
from service.season.models import SeasonRow
from service.store.sessions import Store
from service.tags.queries import codes_of
from service.testlog.actions import call_suspect, change_state, log_repair, void_test
from service.testlog.core import NewRepair, NewTest
from service.testlog.housekeeping import keep_house, zone_of
from service.testlog.logging_tests import log_test
from service.testlog.marks.actions import mark
from service.testlog.models import Test
from tests.support.demo import demo_file
from tests.support.program import START
from tests.testlog.support import GOOD, OPEN_2

CLOSE = 1e-9


class Demo:
    """The demo, with house kept, and a lead who writes at random."""

    def __init__(self, store: Store) -> None:
        self.store, self.now, self.random = store, START, Random(17)
        with store.reading() as db:
            self.zone, lead = zone_of(db), first_lead(db)
            self.season = db.scalars(select(SeasonRow.id).order_by(SeasonRow.starts.desc())).all()[0]
        assert lead is not None
        self.lead = Who(lead.id, lead.display_name, lead.role)  # type: ignore[arg-type]
        self.keep()

    @property
    def today(self) -> date:
        return local_date(self.now, self.zone)

    @property
    def actor(self) -> Actor:
        return Actor(self.lead, self.now, self.zone)

    def keep(self) -> None:
        keep_house(self.store, self.now, CHORES)

    def write(self, do: Callable[["Demo", Session, UUID], Any]) -> bool:
        """Do it to an item at random a while later; whether it was not refused."""
        self.now += timedelta(minutes=11)
        try:
            with self.store.writing() as db:
                items = db.scalars(select(Item.id).where(Item.state != ItemState.RETIRED).order_by(Item.id)).all()
                do(self, db, self.random.choice(items))
        except Problem:
            return False
        return True

    def stored(self) -> tuple[PullList, EventReadiness]:
        with self.store.reading() as db:
            return self._lists(db)

    def from_the_log(self) -> tuple[PullList, EventReadiness]:
        """The same without any stored standing."""
        with self.store.writing() as db:
            db.execute(delete(StoredStanding))
            lists = self._lists(db)
            db.rollback()
        return lists

    def _lists(self, db: Session) -> tuple[PullList, EventReadiness]:
        event = event_for(db, None, self.today)
        assert event is not None
        pull = pull_list(db, event, self.today, self.zone)
        return pull, ready_by(db, pull, self.today)

    def stale(self) -> int:
        with self.store.reading() as db:
            return len(queries.stale(db, queries.next_basis(db, self.today, self.zone)))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    file = tmp_path_factory.mktemp("standings") / "demo.db"
    shutil.copy(demo_file(), file)
    with closing(Store(f"sqlite:///{file}")) as store:
        yield Demo(store)


def log(joined: list[list[str]]) -> Callable[[Demo, Session, UUID], Any]:
    def do(demo: Demo, db: Session, item_id: UUID) -> None:
        code = codes_of(db, [item_id])[item_id]
        log_test(db, NewTest(uuid4(), code, joined=joined), demo.lead, demo.now, demo.zone)

    return do


def void(demo: Demo, db: Session, _item_id: UUID) -> None:
    last = db.scalars(select(Test.id).order_by(Test.tested_at.desc()).limit(3)).all()
    void_test(db, demo.random.choice(last), "It was another cable.", demo.lead, demo.now, demo.zone)


def mark_wrong(demo: Demo, db: Session, _item_id: UUID) -> None:
    last = db.scalars(select(Test.id).where(Test.person_id == demo.lead.id).order_by(Test.tested_at.desc())).first()
    assert last is not None
    mark(db, uuid4(), last, "", demo.lead, demo.now, demo.zone)


def repair(demo: Demo, db: Session, item_id: UUID) -> None:
    code, length = codes_of(db, [item_id])[item_id], db.get_one(Item, item_id).length_mm
    cut = length * 9 // 10 if length and demo.random.random() < 0.5 else None
    new = NewRepair(uuid4(), code, what="New plug.", length_mm=cut)
    log_repair(db, new, demo.lead, demo.now, demo.zone)


def to_state(demo: Demo, db: Session, item_id: UUID) -> None:
    to = demo.random.choice([ItemState.SPARE, ItemState.IN_SERVICE, ItemState.LOST, ItemState.RETIRED])
    change_state(db, item_id, to, "We looked.", demo.lead, demo.now, demo.zone)


def move(demo: Demo, db: Session, item_id: UUID) -> None:
    names = db.scalars(select(Place.name).where(Place.ended_at.is_(None)).order_by(Place.name)).all()
    gear.place(db, item_id, demo.random.choice(names), "", demo.lead, demo.now, demo.random.choice([None, True, False]))


def change_batch(demo: Demo, db: Session, item_id: UUID) -> None:
    gear.change_item(db, db.get_one(Item, item_id), {"batch": demo.random.choice(["", "lot 1", "lot 2"])})


def change_place(demo: Demo, db: Session, _item_id: UUID) -> None:
    place = db.scalars(select(Place).where(Place.ended_at.is_(None)).order_by(Place.name)).all()[0]
    kind = PlaceKind.CASE if place.kind == PlaceKind.FRAME else PlaceKind.FRAME
    gear.change_place(db, place.id, place.name, kind, demo.actor)


def out_of_season(demo: Demo, db: Session, item_id: UUID) -> None:
    choose(db, demo.actor, str(demo.season), [item_id], demo.random.choice([[], [item_id]]))


def suspect(demo: Demo, db: Session, item_id: UUID) -> None:
    call_suspect(db, item_id, uuid4(), "It crackled.", demo.lead, demo.now)


def decide(demo: Demo, db: Session, item_id: UUID) -> None:
    event = event_for(db, None, demo.today)
    assert event is not None
    until = event.on + timedelta(days=1)
    action = demo.random.choice([Action.WATCH, Action.RETIRE, None])
    overrule(db, event.id, item_id, NewLeadDecision(action, "We know it.", until), demo.actor)


def change_limits(demo: Demo, db: Session, _item_id: UUID) -> None:
    set_limits(db, Limits(risk_percent=demo.random.choice([5, 10, 15])), demo.actor)


WRITES = [
    *[log(GOOD)] * 3,
    *[log(OPEN_2)] * 3,
    void,
    mark_wrong,
    repair,
    repair,
    to_state,
    move,
    change_batch,
    change_place,
    out_of_season,
    suspect,
    decide,
    change_limits,
]


def test_after_each_write_the_list_is_what_the_log_says(demo: Demo) -> None:
    done = 0
    for turn in range(30):
        done += demo.write(WRITES[turn % len(WRITES)])
        if turn % 9 == 8:
            demo.keep()
            assert demo.stale() == 0
            assert verify(demo.store, demo.now) == []
        elif turn % 9 == 4:
            demo.now += timedelta(days=1)
        keep_house(demo.store, demo.now, CHORES[:2])  # due states are of today, as for every page
        (pull, ready), (pull_anew, ready_anew) = demo.stored(), demo.from_the_log()
        assert said(pull) == said(pull_anew)
        assert chances_of(pull) == pytest.approx(chances_of(pull_anew), abs=CLOSE)
        assert acts(ready) == acts(ready_anew)
        assert figures(ready) == pytest.approx(figures(ready_anew), abs=CLOSE)
    assert done > 18


def said(pull: PullList) -> object:
    rows = [
        (
            row.item,
            row.code,
            row.action,
            row.why,
            row.spare,
            row.bought_mm,
            row.done,
            row.lead_decision,
            row.would_fit,
            row.decided and (row.decided.reasons, row.decided.gear.today, row.decided.gear.then),
        )
        for row in pull.rows
    ]
    return rows, pull.judged, pull.shopping, pull.advised, pull.ready, pull.waiting


def chances_of(pull: PullList) -> dict[str, float]:
    return {row.code: row.decided.gear.risk or 0.0 for row in pull.rows if row.decided}


def acts(ready: EventReadiness) -> object:
    now = ready.now
    return [(act.item, act.kind, act.seconds, act.spare) for act in now.acts], now.items, now.gaps, now.stuck


def figures(ready: EventReadiness) -> list[float]:
    now = ready.now
    return [now.chance, now.others, now.unseen, now.after, now.others_after, float(ready.failures)]


def test_verify_names_the_item_whose_standing_is_not_what_its_log_says(demo: Demo) -> None:
    demo.keep()
    with demo.store.writing() as db:
        row = db.scalars(select(StoredStanding).where(StoredStanding.failed.is_not(None))).first()
        assert row is not None
        code = codes_of(db, [row.item_id])[row.item_id]
        db.execute(update(StoredStanding).where(StoredStanding.item_id == row.item_id).values(failed=0.5))
    (line,) = verify(demo.store, demo.now)
    assert line.startswith(f"{code}: the stored standing")
    with demo.store.writing() as db:
        db.execute(delete(StoredStanding))
    demo.keep()
    assert verify(demo.store, demo.now) == []


def test_a_standing_worked_out_before_something_was_written_is_not_stored(demo: Demo) -> None:
    demo.keep()
    with demo.store.reading() as db:
        basis = queries.next_basis(db, demo.today, demo.zone)
        items = db.scalars(select(Item.id).order_by(Item.id).limit(2)).all()
        revisions = {row.id: row.revision for row in db.execute(select(Item.id, Item.revision))}
        standings = queries.reckon(db, items, basis)
    with demo.store.writing() as db:
        gear.place(db, items[0], "", "", demo.lead, demo.now)
        assert queries.set_standings(db, revisions, standings, basis) == 1
        assert db.scalar(select(func.count()).select_from(StoredStanding)) == len(revisions)


def test_what_is_stored_comes_back_as_it_was(demo: Demo) -> None:
    with demo.store.reading() as db:
        basis = queries.next_basis(db, demo.today, demo.zone)
        standings = queries.reckon(db, db.scalars(select(Item.id)).all(), basis)
    assert any(one.tests for one in standings.values())
    for one in standings.values():
        assert again(one) == one


def again(one: Standing) -> Standing:
    return of_facts(as_facts(one), one.chance, one.failures, one.listed)
