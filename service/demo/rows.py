"""The rows of a filled database: of an item, of its tests and repairs, and of what follows from them."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from functools import cache
from random import Random
from typing import Any
from uuid import UUID

from service.demo import scenario
from service.demo.faults import DemoFinding
from service.demo.gear import FEET, PRICES, Owned
from service.demo.lives import LifeStep
from service.diagnosis.diagnosis import diagnose
from service.gear.core import End, ItemState
from service.gear.models import Flag, Item, ItemLength, Placement, Port
from service.gear.wirings import ports_of
from service.kit.dates import local_date
from service.season.core import Season, What
from service.season.models import ItemDue, ItemSeason
from service.store.base import Base
from service.tags.models import Tag
from service.testlog.core import Evidence, LogEntry, Method, Verdict, with_evidence
from service.testlog.effects import due_columns, due_flags
from service.testlog.faults import make_fault_rows
from service.testlog.models import FaultRow, Repair, Test, TestItem
from service.wiring.builtin import BUILTIN
from service.wiring.faults import rebuild
from service.wiring.wirings import names

Rows = dict[type[Base], list[dict[str, Any]]]
"""Rows by their table."""


def add_item_rows(
    rows: Rows,
    one: Owned,
    item_id: UUID,
    state: ItemState,
    code: str,
    places: Mapping[str, UUID],
    seasons: Iterable[UUID],
    began: datetime,
) -> None:
    """An item with its tag, ports, place, first length and seasons."""
    bought = local_date(began, scenario.ZONE)
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
            "created_at": began,
            "made_by": None,
        }
    )
    rows[Tag].append({"code": code, "item_id": item_id, "place_id": None, "since": began, "until": None})
    rows[Port] += [{"item_id": item_id, **port} for port in port_rows(one.wiring, one.kind)]
    rows[Placement].append(
        {
            "item_id": item_id,
            "place_a_id": places[one.place],
            "place_b_id": places.get(one.place_b),
            "since": began,
            "until": None,
        }
    )
    if length:
        rows[ItemLength].append({"item_id": item_id, "length_mm": length, "at": began, "reason": "as bought"})
    rows[ItemSeason] += [{"item_id": item_id, "season_id": each} for each in seasons]


def add_step_rows(
    rows: Rows,
    one: Owned,
    item_id: UUID,
    entry: UUID,
    step: LifeStep,
    session_id: UUID | None,
    people: Sequence[UUID],
    random: Random,
) -> LogEntry:
    """The rows of a test or a repair of an item: logged by one of the people, repaired at one of the ends."""
    if step.what is What.REPAIR:
        rows[Repair].append(
            {
                "id": entry,
                "item_id": item_id,
                "end": random.choice(list(End)),
                "length_mm": None,
                "what": "joint soldered again",
                "cost_cents": 150,
                "at": step.at,
                "received_at": step.at,
                "person_id": None,
            }
        )
        return LogEntry(step.at, step.what, entry)
    joined, verdict, faults, evidence = read_test(one.wiring, step.finding)
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
            "person_id": random.choice(people),
            "session_id": session_id,
            "tester_id": None,
        }
    )
    rows[TestItem].append({"test_id": entry, "item_id": item_id, "position": 0})
    rows[FaultRow] += [{"test_id": entry} | fault for fault in faults]
    return LogEntry(step.at, What(verdict.value), entry)


def add_due_rows(
    rows: Rows, item_id: UUID, rules: Sequence[Season], since: date, events: Sequence[LogEntry], now: datetime
) -> None:
    """The due state of an item that has to be tested, and the flags that follow from it, as of `now`."""
    today = local_date(now, scenario.ZONE)
    due = due_columns(rules, since, events, frozenset(), today, scenario.ZONE)
    rows[ItemDue].append({"item_id": item_id} | due)
    rows[Flag] += [
        {
            "item_id": item_id,
            "flag": kind,
            "period": occasion,
            "note": "",
            "raised_at": now,
            "raised_by": None,
            "cleared_at": None,
            "cleared_by": None,
            "cleared_why": None,
        }
        for kind, occasion in due_flags(due["state"], due["due_by"], today).items()
    ]


@cache
def port_rows(wiring: str, kind: str) -> list[dict[str, Any]]:
    """The ports of an item of this wiring and kind."""
    return ports_of(wiring, BUILTIN[wiring], kind)


@cache
def read_test(
    key: str, finding: DemoFinding
) -> tuple[list[list[str]], Verdict, list[dict[str, Any]], list[dict[str, Any]]]:
    """The stored values of a test with this finding: groups of joined contacts, verdict, rows of faults, evidence."""
    wiring = BUILTIN[key]
    readings = rebuild(wiring, finding.faults)
    evidence = tuple(Evidence(kind, End(end), note) for kind, end, note in finding.evidence)
    diagnosis = diagnose(wiring, readings)
    columns = ("position", "fault_class", "end", "lane", "conductor", "conductors", "detail")
    faults = [
        {name: getattr(row, name) for name in columns} for row in make_fault_rows(wiring, diagnosis.faults, evidence)
    ]
    verdict = with_evidence(Verdict(diagnosis.verdict), evidence)
    return [names(wiring, group) for group in readings.groups], verdict, faults, [each.to_json() for each in evidence]
