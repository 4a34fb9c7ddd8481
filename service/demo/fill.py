"""Filling an empty database for measuring: large, realistic, the same for the same numbers on the same day.

Unlike the demo it writes rows, since two million tests through the actions would take hours. What follows from
history (states, due states, flags) is computed by the rules of the service, so that housekeeping finds nothing to do.
"""

from collections import defaultdict
from datetime import UTC, date, datetime, timedelta
from random import Random
from typing import Any
from uuid import UUID

from sqlalchemy import insert
from sqlalchemy.orm import Session

from service.crew import actions as crew
from service.crew import queries as crew_queries
from service.crew.core import Role
from service.demo import scenario
from service.demo.gear import OWNED, PLACES, Owned
from service.demo.lives import BEGINS, LifeStep, evenings, life, seasons
from service.demo.rows import Rows, add_due_rows, add_item_rows, add_step_rows
from service.gear import actions as gear
from service.gear.core import ASKED, ItemState
from service.gear.models import StateChange
from service.kit.codes import make_code
from service.kit.dates import local_date
from service.kit.problems import invalid
from service.season import actions as season
from service.season.models import EventKind
from service.store.base import Base
from service.store.sessions import Store
from service.testlog.core import LogEntry, fault_of, state_after
from service.testlog.models import SessionKind, WorkSession
from service.wiring.builtin import BUILTIN

MOST = 1_000_000, 20_000_000
"""The most items and tests: no program has a larger database."""
_AT_ONCE = 250
"""How many items are written in one batch."""


def fill(store: Store, items: int, tests: int, seed: int, now: datetime) -> str:
    """Fill an empty database with this many items and tests. Returns a sentence about it.

    Raises:
        Invalid: for `items` or `tests`; the sentence says which numbers are possible.
    """
    if not 1 <= items <= MOST[0]:
        raise invalid("items", f"--items is {items}; it must be from 1 to {MOST[0]:,}.")
    if not 0 <= tests <= MOST[1]:
        raise invalid("tests", f"--tests is {tests}; it must be from 0 to {MOST[1]:,}.")
    with store.writing() as db:
        if crew_queries.program(db) is not None:
            return "There is a program in this database already, so nothing was filled in. Name a new database."
        _Filling(db, items, tests, Random(seed), now).run()  # noqa: S311  (the same for the same seed)
    return f"Filled in {items:,} items and {tests:,} tests."


class _Filling:
    def __init__(self, db: Session, items: int, tests: int, random: Random, now: datetime) -> None:
        self.db, self.items, self.tests, self.random, self.now = db, items, tests, random, now
        self.today = local_date(now, scenario.ZONE)
        self.rules = seasons(self.today, tests / items)
        self.evenings = evenings(self.rules, self.today)
        self.began = datetime.combine(self.rules[0].starts, BEGINS, scenario.ZONE) - timedelta(days=30)
        self.seasons: list[UUID] = []
        self.people: list[UUID] = []
        self.sessions: dict[date, UUID] = {}
        self.places: dict[str, UUID] = {}
        self.codes: set[str] = set()

    def run(self) -> None:
        """Write everything, in the order of the references between the tables."""
        crew.found_program(self.db, "Fernhollow Band Program", scenario.ZONE.key, self.began)
        crew.add_person(self.db, scenario.LEAD, Role.LEAD, self.began)
        self.people = [crew.add_person(self.db, name, Role.CREW, self.began).id for name in scenario.HELPERS]
        self.places = {name: gear.place_for(self.db, name, None, self.began, kind).id for name, kind in PLACES}
        for number, rule in enumerate(self.rules, 1):
            self.seasons.append(self._id())
            season.add_season(self.db, self.seasons[-1], f"Season {number}", rule, [], self.began)
        coming = self.today + timedelta(days=12)
        season.add_event(
            self.db, self.seasons[-1], "Lantern Field Competition", EventKind.COMPETITION, coming, self.now
        )
        self._open_sessions()
        owned = [one for one in OWNED for _ in range(one.count)]
        for start in range(0, self.items, _AT_ONCE):
            rows: Rows = defaultdict(list)
            for number in range(start, min(start + _AT_ONCE, self.items)):
                share = self.tests * (number + 1) // self.items - self.tests * number // self.items
                self._add(rows, owned[number % len(owned)], share)
            by_table = {model.__table__: lines for model, lines in rows.items()}
            for table in Base.metadata.sorted_tables:  # rows that others refer to are written first
                if lines := by_table.get(table):  # an INSERT without rows would insert one row without values
                    self.db.execute(insert(table), lines)

    def _open_sessions(self) -> None:
        self.sessions = {evening: self._id() for evening in self.evenings}
        lines = [
            {
                "id": session_id,
                "title": f"Test evening of {evening}",
                "kind": SessionKind.TEST,
                "place_id": None,
                "on": evening,
                "note": "",
                "made_by": None,
                "created_at": self._evening(evening),
                "closed_at": self._evening(evening) + timedelta(hours=4),
                "closed_by": None,
                "closing_note": "",
                "revision": 0,
                "changed_at": None,
            }
            for evening, session_id in self.sessions.items()
        ]
        if lines:
            self.db.execute(insert(WorkSession), lines)

    def _evening(self, evening: date) -> datetime:
        return datetime.combine(evening, BEGINS, scenario.ZONE).astimezone(UTC)

    def _add(self, rows: Rows, one: Owned, tests: int) -> None:
        steps = life(BUILTIN[one.wiring], tests, self.evenings, self.random) if self.evenings else []
        item_id = self._id()
        events = [self._step(rows, one, item_id, step) for step in steps]
        home = ItemState.SPARE if one.spare else ItemState.IN_SERVICE
        state = state_after(home, home, fault_of([]), fault_of(events))
        add_item_rows(rows, one, item_id, state, self._code(), self.places, self.seasons, self.began)
        rows[StateChange].append(self._changed(item_id, None, home, self.began, "added"))
        if state is not home:
            rows[StateChange].append(self._changed(item_id, home, state, events[-1].at, "Failed its test."))
        if state in ASKED:
            add_due_rows(rows, item_id, self.rules, local_date(self.began, scenario.ZONE), events, self.now)

    def _step(self, rows: Rows, one: Owned, item_id: UUID, step: LifeStep) -> LogEntry:
        session_id = self.sessions[step.evening] if step.evening else None
        return add_step_rows(rows, one, item_id, self._id(), step, session_id, self.people, self.random)

    def _changed(
        self, item_id: UUID, before: ItemState | None, to: ItemState, at: datetime, why: str
    ) -> dict[str, Any]:
        return {"item_id": item_id, "from_state": before, "to_state": to, "at": at, "person_id": None, "reason": why}

    def _id(self) -> UUID:
        return UUID(int=self.random.getrandbits(128), version=4)

    def _code(self) -> str:
        code = make_code(self.random)
        while code in self.codes:
            code = make_code(self.random)
        self.codes.add(code)
        return code
