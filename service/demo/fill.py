"""Filling an empty database for measuring: large, realistic, the same for the same numbers on the same day.

Unlike the demo it writes rows, since two million tests through the actions would take hours. What follows from
history (states, due states, flags) is reckoned by the rules of the service, so that housekeeping finds nothing to do.
"""

from collections import defaultdict
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from functools import cache
from random import Random
from typing import Any
from uuid import UUID

from sqlalchemy import insert
from sqlalchemy.orm import Session

from service.crew import actions as crew
from service.crew import queries as crew_queries
from service.crew.core import Role
from service.demo import scenario
from service.demo.faults import DemoFinding
from service.demo.gear import FEET, OWNED, PLACES, PRICES, Owned
from service.demo.lives import BEGINS, LifeStep, evenings, life, seasons
from service.diagnosis.diagnosis import diagnose
from service.gear import actions as gear
from service.gear.core import ASKED, End, ItemState
from service.gear.models import Flag, Item, ItemLength, Placement, Port, StateChange
from service.gear.wirings import ports_of
from service.kit.codes import make_code
from service.kit.dates import local_date
from service.kit.problems import invalid
from service.season import actions as season
from service.season.core import What
from service.season.models import EventKind, ItemDue, ItemSeason
from service.store.base import Base
from service.store.sessions import Store
from service.tags.models import Tag
from service.testlog.core import Evidence, LogEntry, Method, Verdict, fault_of, state_after, with_evidence
from service.testlog.effects import due_columns, due_flags
from service.testlog.faults import make_fault_rows
from service.testlog.models import FaultRow, Repair, SessionKind, Test, TestItem, WorkSession
from service.wiring.builtin import BUILTIN
from service.wiring.faults import rebuild
from service.wiring.wirings import names

MOST = 1_000_000, 20_000_000
"""Items and tests: beyond them it is no program's database any more."""
_AT_ONCE = 250
"""How many items are written together."""

Rows = dict[type[Base], list[dict[str, Any]]]


def fill(store: Store, items: int, tests: int, seed: int, now: datetime) -> str:
    """Fill an empty database with so many items and tests; what to say about it.

    Raises:
        Invalid: for `items` or `tests`, with what would do.
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
        """Everything, in the order that the tables lean on each other."""
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
            for table in Base.metadata.sorted_tables:  # what others refer to goes first
                if lines := by_table.get(table):  # an INSERT of no rows would be one of a row without values
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
        self._item(rows, one, item_id, state)
        rows[StateChange].append(self._changed(item_id, None, home, self.began, "added"))
        if state is not home:
            rows[StateChange].append(self._changed(item_id, home, state, events[-1].at, "Failed its test."))
        if state in ASKED:
            self._due(rows, item_id, events)

    def _item(self, rows: Rows, one: Owned, item_id: UUID, state: ItemState) -> None:
        bought = local_date(self.began, scenario.ZONE)
        length = round(one.feet * FEET)
        rows[Item].append(
            {
                "id": item_id,
                "kind": one.kind,
                "wiring": one.wiring,
                "label": one.label,
                "state": state,
                "length_mm": length,
                "gauge_awg": one.gauge_awg,
                "batch": one.lot,
                "bought_on": bought,
                "price_cents": PRICES.get(one.feet, one.cents),
                "in_service_on": bought,
                "created_at": self.began,
                "made_by": None,
            }
        )
        rows[Tag].append(
            {"code": self._code(), "item_id": item_id, "place_id": None, "since": self.began, "until": None}
        )
        rows[Port] += [{"item_id": item_id, **port} for port in _ports(one.wiring, one.kind)]
        rows[Placement].append(
            {
                "item_id": item_id,
                "place_a_id": self.places[one.place],
                "place_b_id": self.places.get(one.place_b),
                "since": self.began,
                "until": None,
            }
        )
        if length:
            rows[ItemLength].append({"item_id": item_id, "length_mm": length, "at": self.began, "reason": "as bought"})
        rows[ItemSeason] += [{"item_id": item_id, "season_id": each} for each in self.seasons]

    def _step(self, rows: Rows, one: Owned, item_id: UUID, step: LifeStep) -> LogEntry:
        entry = self._id()
        if step.what is What.REPAIR:
            rows[Repair].append(
                {
                    "id": entry,
                    "item_id": item_id,
                    "end": self.random.choice(list(End)),
                    "length_mm": None,
                    "what": "joint soldered again",
                    "cost_cents": 150,
                    "at": step.at,
                    "received_at": step.at,
                    "person_id": None,
                }
            )
            return LogEntry(step.at, step.what, entry)
        joined, verdict, faults, evidence = _read(one.wiring, step.found)
        rows[Test].append(
            {
                "id": entry,
                "wiring": one.wiring,
                "method": Method.TWO_ENDED,
                "joined": joined,
                "probed": "all",
                "evidence": evidence,
                "verdict": verdict,
                "unproven": [],
                "note": "",
                "tested_at": step.at,
                "told_at": step.at,
                "sent_at": None,
                "received_at": step.at,
                "person_id": self.random.choice(self.people),
                "session_id": self.sessions[step.evening] if step.evening else None,
                "tester_id": None,
            }
        )
        rows[TestItem].append({"test_id": entry, "item_id": item_id, "position": 0})
        rows[FaultRow] += [{"test_id": entry} | fault for fault in faults]
        return LogEntry(step.at, What(verdict.value), entry)

    def _due(self, rows: Rows, item_id: UUID, events: Sequence[LogEntry]) -> None:
        since = local_date(self.began, scenario.ZONE)
        due = due_columns(self.rules, since, events, frozenset(), self.today, scenario.ZONE)
        rows[ItemDue].append({"item_id": item_id} | due)
        rows[Flag] += [
            {
                "item_id": item_id,
                "flag": kind,
                "period": occasion,
                "note": "",
                "raised_at": self.now,
                "raised_by": None,
                "cleared_at": None,
                "cleared_by": None,
                "cleared_why": None,
            }
            for kind, occasion in due_flags(due["state"], due["due_by"], self.today).items()
        ]

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


@cache
def _ports(wiring: str, kind: str) -> list[dict[str, Any]]:
    return ports_of(wiring, BUILTIN[wiring], kind)


@cache
def _read(key: str, found: DemoFinding) -> tuple[list[list[str]], Verdict, list[dict[str, Any]], list[dict[str, Any]]]:
    """What is kept of a test that found this: groups of joined contacts, verdict, rows of faults, evidence."""
    wiring = BUILTIN[key]
    readings = rebuild(wiring, found.faults)
    evidence = tuple(Evidence(kind, End(end), note) for kind, end, note in found.evidence)
    said = diagnose(wiring, readings)
    columns = ("position", "fault_class", "end", "lane", "conductor", "conductors", "detail")
    faults = [{name: getattr(row, name) for name in columns} for row in make_fault_rows(wiring, said.faults, evidence)]
    verdict = with_evidence(Verdict(said.verdict), evidence)
    return [names(wiring, group) for group in readings.groups], verdict, faults, [each.to_json() for each in evidence]
