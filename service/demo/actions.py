"""Filling an empty database with the demo: the scenario is replayed through the actions that people use."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from random import Random
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew import actions as crew
from service.crew import queries as crew_queries
from service.crew.core import Role, Who
from service.demo import checks, inputs, rigs, scenario
from service.demo.gear import AGE, FEET, NEW_ITEMS, OWNED, PLACES, PRICES, Owned
from service.demo.replay import Replay, demo_id
from service.gear import actions as gear
from service.gear.models import Item
from service.kit.dates import local_date
from service.season import actions as season
from service.season.core import Season
from service.season.models import EventKind
from service.store.sessions import Store
from service.tags import actions as tags
from service.tags.queries import codes_of
from service.testlog.effects import refresh_due_states
from service.testlog.housekeeping import CHORES, Chore, keep_house

_SEED = 8


def load(store: Store, now: datetime, chores: Sequence[Chore] = CHORES) -> str:
    """Fill an empty program with the demo and run its chores. Returns a sentence about it."""
    with store.writing() as db:
        if crew_queries.program(db) is not None:
            return "There is a program in this database already, so the demo was not loaded."
        _Demo(db, now).fill()
    keep_house(store, now, chores)
    return "Loaded the demo: the Fernhollow Band Program, in mid-season."


class _Demo:
    """Fills one database. Ids and codes come from a seeded random source, so they are the same every time."""

    def __init__(self, db: Session, now: datetime) -> None:
        self.db = db
        self.now = now
        self.today = local_date(now, scenario.ZONE)
        self.random = Random(_SEED)  # noqa: S311  (the same demo every time)
        self.people: dict[str, Who] = {}
        self.items: list[Item] = []
        self.codes: dict[UUID, str] = {}

    def fill(self) -> None:
        """Write everything, in the order in which it happened."""
        rules = scenario.season_rules(self.today)
        began = self.now - timedelta(days=(self.today - rules[0][1].starts).days + 20)
        program = crew.found_program(self.db, scenario.PROGRAM.name, scenario.PROGRAM.zone, began)
        program.end_a, program.end_b = scenario.PROGRAM.end_a, scenario.PROGRAM.end_b
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
        replay = Replay(self.db, self.people, self.items, self.codes)
        for happening in scenario.happenings(owned, self.today, self.random):
            replay.do(happening)
        inputs.add_lists(self.db, self.people[scenario.LEAD], owned, self.items, self.codes, self.now)
        helpers = [self.people[name] for name in scenario.HELPERS]
        rigs.add_rigs(self.db, self.people[scenario.LEAD], self.now)
        checks.add_checks(self.db, helpers, self.now)
        tags.mark_printed(self.db, list(self.codes.values()), began)
        self._add(NEW_ITEMS, self.now - timedelta(days=6))
        season.enlist(
            self.db,
            [item.id for item in self.items[-NEW_ITEMS.count :]],
            season.running_seasons(self.db, self.today),
        )
        refresh_due_states(self.db, [item.id for item in self.items], self.today, scenario.ZONE)
        replay.plan(self.today + timedelta(scenario.NEXT_EVENING), self.now)
        item = next(item for one, item in zip(owned, self.items, strict=False) if one.place == scenario.DECLINED[0])
        replay.decline(item, self.today, self.now)

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
        ids = [demo_id("item", len(self.items) + number) for number in range(one.count)]
        made = gear.add_items(self.db, new, ids, self.people[scenario.LEAD], at, local_date(at, scenario.ZONE))
        tags.issue(self.db, ids, at, self.random)
        self.items += made
        self.codes |= codes_of(self.db, ids)

    def _seasons(self, rules: Sequence[tuple[str, Season]]) -> None:
        everything = [item.id for item in self.items]
        ids = []
        for number, (name, rule) in enumerate(rules):
            ids.append(demo_id("season", number))
            season.add_season(self.db, ids[-1], name, rule, everything, self.now)
        for number, name, kind, days in scenario.EVENTS:
            season.add_event(self.db, ids[number], name, EventKind(kind), self.today + timedelta(days), self.now)
