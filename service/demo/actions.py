"""Filling an empty database with the demo: the scenario, replayed through the same actions that people use."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from random import Random
from uuid import UUID, uuid5

from sqlalchemy.orm import Session

from service.crew import actions as crew
from service.crew import queries as crew_queries
from service.crew.core import Role, Who
from service.demo import scenario
from service.demo.gear import AGE, FEET, LATE, OWNED, PLACES, PRICES, Owned
from service.demo.scenario import (
    Closed,
    Happening,
    Left,
    MarkedAsWrong,
    Opened,
    Repaired,
    SuspectStory,
    Tested,
    TestedThrough,
)
from service.gear import actions as gear
from service.gear.core import End, ItemState
from service.gear.models import Item
from service.kit.dates import local_date
from service.season import actions as season
from service.season.core import Season
from service.season.models import EventKind
from service.sessions import actions as sessions
from service.store.sessions import Store
from service.tags import actions as tags
from service.tags.queries import codes_of
from service.testlog import actions as testlog
from service.testlog.core import Evidence, NewRepair, NewTest
from service.testlog.effects import refresh_due_states
from service.testlog.housekeeping import CHORES, Chore, keep_house
from service.testlog.logging_tests import log_test
from service.testlog.marks.actions import mark
from service.wiring.builtin import BUILTIN
from service.wiring.faults import rebuild
from service.wiring.wirings import names

_SEED = 8
_IDS = UUID("6a1f7a52-0d0e-4d0c-9d5e-3f0b1c2d4e5f")


def load(store: Store, now: datetime, chores: Sequence[Chore] = CHORES) -> str:
    """Fill an empty program with the demo, and do its chores; what to say about it."""
    with store.writing() as db:
        if crew_queries.program(db) is not None:
            return "There is a program in this database already, so the demo was not loaded."
        _Demo(db, now).tell()
    keep_house(store, now, chores)
    return "Loaded the demo: the Fernhollow Band Program, in mid-season."


class _Demo:
    """One filling; ids and codes come from a seeded source, so that they are the same every time."""

    def __init__(self, db: Session, now: datetime) -> None:
        self.db = db
        self.now = now
        self.today = local_date(now, scenario.ZONE)
        self.random = Random(_SEED)  # noqa: S311  (the same story every time)
        self.people: dict[str, Who] = {}
        self.items: list[Item] = []
        self.codes: dict[UUID, str] = {}

    def tell(self) -> None:
        """Everything, in the order in which it happened."""
        rules = scenario.season_rules(self.today)
        began = self.now - timedelta(days=(self.today - rules[0][1].starts).days + 20)
        crew.found_program(self.db, "Fernhollow Band Program", scenario.ZONE.key, began)
        for name, role in (
            (scenario.LEAD, Role.LEAD),
            ("Director", Role.VIEWER),
            *((one, Role.CREW) for one in scenario.HELPERS),
        ):
            person = crew.add_person(self.db, name, role, began)
            self.people[name] = Who(person.id, name, role)
        for name, kind in PLACES:
            gear.place_for(self.db, name, self.people[scenario.LEAD], began, kind)
        owned = [one for one in OWNED for _ in range(one.count)]
        for one in OWNED:
            self._add(one, began)
        self._seasons(rules)
        for happening in scenario.happenings(owned, self.today, self.random):
            self._happen(happening)
        tags.mark_printed(self.db, list(self.codes.values()), began)
        self._add(LATE, self.now - timedelta(days=6))
        season.enlist(
            self.db,
            [item.id for item in self.items[-LATE.count :]],
            season.running_seasons(self.db, self.today),
        )
        refresh_due_states(self.db, [item.id for item in self.items], self.today, scenario.ZONE)
        self._plan()

    def _add(self, one: Owned, at: datetime) -> None:
        new = gear.NewItem(
            kind=one.kind,
            wiring=one.wiring,
            length_mm=round(one.feet * FEET),
            gauge_awg=one.gauge_awg,
            label=one.label,
            place=one.place,
            place_b=one.place_b,
            batch=one.lot,
            bought_on=local_date(at, scenario.ZONE) + timedelta(one.bought - AGE[one.lot]),
            price_cents=PRICES.get(one.feet, one.cents),
            spare=one.spare,
        )
        ids = [self._id("item", len(self.items) + number) for number in range(one.count)]
        made = gear.add_items(self.db, new, ids, self.people[scenario.LEAD], at, local_date(at, scenario.ZONE))
        tags.issue(self.db, ids, at, self.random)
        self.items += made
        self.codes |= codes_of(self.db, ids)

    def _seasons(self, rules: Sequence[tuple[str, Season]]) -> None:
        everything = [item.id for item in self.items]
        ids = []
        for number, (name, rule) in enumerate(rules):
            ids.append(self._id("season", number))
            season.add_season(self.db, ids[-1], name, rule, everything, self.now)
        for number, name, kind, days in scenario.EVENTS:
            season.add_event(self.db, ids[number], name, EventKind(kind), self.today + timedelta(days), self.now)

    def _happen(self, happening: Happening) -> None:
        lead = self.people[scenario.LEAD]
        match happening:
            case Opened():
                self._open(happening)
                return
            case Closed():
                session_id = self._id("session", happening.evening)
                sessions.close_session(self.db, session_id, happening.note, lead, happening.at)
                return
            case TestedThrough():
                self._test_through(happening)
                return
            case MarkedAsWrong():
                mark(
                    self.db,
                    self._id("mark", happening.at.isoformat()),
                    self._test_id(happening.test),
                    happening.note,
                    self.people[happening.test.by],
                    happening.at,
                    scenario.ZONE,
                )
                return
        item = self.items[happening.item]
        match happening:
            case Tested():
                self._test(happening, item)
            case Repaired():
                length = item.length_mm - happening.cut_mm if happening.cut_mm else None
                repair = NewRepair(
                    id=self._id("repair", happening.at.isoformat(), happening.item),
                    item=self.codes[item.id],
                    what=happening.what,
                    end=End(happening.end),
                    length_mm=length,
                    cost_cents=happening.cents,
                )
                testlog.log_repair(self.db, repair, lead, happening.at, scenario.ZONE)
            case SuspectStory():
                op = self._id("crackled", happening.item)
                testlog.call_suspect(
                    self.db,
                    item.id,
                    op,
                    "crackled in the run-through",
                    self.people[happening.by],
                    happening.at,
                )
            case Left():
                to = ItemState(happening.state)
                testlog.change_state(self.db, item.id, to, happening.why, lead, happening.at, scenario.ZONE)

    def _open(self, opened: Opened) -> None:
        new = sessions.NewSession(
            id=self._id("session", opened.evening),
            title=f"Test evening, {opened.evening:%B} {opened.evening.day}",
            on=opened.evening,
            codes=[self.codes[self.items[item].id] for item in opened.items],
        )
        sessions.open_session(self.db, new, self.people[scenario.LEAD], opened.at)

    def _plan(self) -> None:
        on = self.today + timedelta(scenario.NEXT_EVENING)
        title = "Second evening of the round"
        new = sessions.NewSession(id=self._id("session", "next"), title=title, on=on, why=sessions.USUAL)
        sessions.open_session(self.db, new, self.people[scenario.LEAD], self.now)

    def _test(self, tested: Tested, item: Item) -> None:
        wiring = BUILTIN[item.wiring]
        groups = rebuild(wiring, tested.found.faults).groups
        new = NewTest(
            id=self._test_id(tested),
            item=self.codes[item.id],
            joined=[names(wiring, group) for group in groups],
            evidence=tuple(Evidence(kind, End(end), note) for kind, end, note in tested.found.evidence),
            tested_at=tested.at,
            session=self._id("session", tested.evening) if tested.evening else None,
        )
        log_test(self.db, new, self.people[tested.by], tested.at, scenario.ZONE)

    def _test_through(self, tested: TestedThrough) -> None:
        wiring = BUILTIN["xlr3x4"]
        wires = [[wire.a, wire.b] for lane in tested.lanes for wire in wiring.lanes[lane]]
        first, *others = [self.codes[self.items[item].id] for item in tested.items]
        new = NewTest(
            id=self._id("test", tested.at.isoformat(), *tested.items),
            item=first,
            through=tuple(others),
            joined=wires,
            probed=[contact for wire in wires for contact in wire],
            tested_at=tested.at,
        )
        log_test(self.db, new, self.people[tested.by], tested.at, scenario.ZONE)

    def _test_id(self, tested: Tested) -> UUID:
        return self._id("test", tested.at.isoformat(), tested.item)

    def _id(self, *parts: object) -> UUID:
        return uuid5(_IDS, " ".join(map(str, parts)))
