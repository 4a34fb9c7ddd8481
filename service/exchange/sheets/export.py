"""Exporting gear and tests as CSV, with every column, in an order for people, one row after the other.

An exported sheet can be imported again without loss: its columns have names that `core.columns` knows.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime
from heapq import merge
from operator import itemgetter
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.exchange.sheets import queries
from service.exchange.sheets.core.readings_cell import write_entered
from service.gear.wirings import find_wiring
from service.kit.csvs import BYTE_ORDER_MARK, csv_lines
from service.kit.quantities import Unit, format_length
from service.season.core import What
from service.testlog.faults import titles
from service.testlog.models import Test
from service.testlog.queries import lane_of
from service.wiring.faults import rebuild
from service.wiring.wirings import read

GEAR_HEADER = (
    "code",
    "label",
    "kind",
    "wiring",
    "length",
    "gauge_awg",
    "place",
    "place_b",
    "batch",
    "bought_on",
    "price",
    "state",
    "note",
    "in service since",
    "due state",
    "due by",
    "last tested at",
    "last verdict",
    "last passed at",
    "length in mm",
    "item id",
)
TESTS_HEADER = (
    "test id",
    "code",
    "tested_at",
    "verdict",
    "fault",
    "note",
    "method",
    "wiring",
    "through",
    "by",
    "received at",
    "session",
    "not proven",
    "voided at",
    "voided because",
    "as entered",
    "repair",
    "end",
    "repair cost",
    "cut to",
    "lane",
    "marked wrong",
    "marked because",
)


def gear_csv(db: Session, unit: Unit, zone: ZoneInfo) -> Iterator[str]:
    """All gear, also retired or lost items, in walking order; lengths in `unit`, prices in dollars."""
    yield BYTE_ORDER_MARK
    yield from csv_lines(_gear(db, unit, zone))


def _gear(db: Session, unit: Unit, zone: ZoneInfo) -> Iterator[Sequence[object]]:
    yield GEAR_HEADER
    notes = queries.notes(db)
    for item, code, due in queries.gear_rows(db):
        length = format_length(item.length_mm, unit) if item.length_mm else None
        note = "\n".join(notes.get(item.id, ()))
        yield (
            code,
            item.label,
            item.kind,
            item.wiring,
            length,
            item.gauge_awg,
            item.place,
            item.place_b,
            item.batch,
            item.bought_on,
            _dollars(item.price_cents),
            item.state.replace("_", " "),
            note,
            item.in_service_on,
            due and due.state,
            due and due.due_by,
            due and _moment(due.last_tested_at, zone),
            due and due.last_verdict,
            due and _moment(due.last_passed_at, zone),
            item.length_mm or None,
            item.id,
        )


def tests_csv(db: Session, zone: ZoneInfo) -> Iterator[str]:
    """The whole test log, also voided tests, and every repair as a row of its own, the oldest first; instants in the
    program's zone with their offset.
    """
    yield BYTE_ORDER_MARK
    yield from csv_lines([TESTS_HEADER])
    for _, row in merge(_tests(db, zone), _repairs(db, zone), key=itemgetter(0)):
        yield from csv_lines([row])


def _tests(db: Session, zone: ZoneInfo) -> Iterator[tuple[datetime, Sequence[object]]]:
    for piece in queries.test_rows(db):
        ids = [row[0].id for row in piece]
        codes, faults = queries.codes_by_test(db, ids), queries.faults_by_test(db, ids)
        lanes = lane_of(db, ids)
        for test, by, void, marked in piece:
            yield (
                test.tested_at,
                (
                    test.id,
                    next(iter(codes[test.id]), ""),
                    _moment(test.tested_at, zone),
                    test.verdict,
                    "; ".join(titles(db, test.wiring, faults[test.id])),
                    test.note,
                    test.method,
                    test.wiring,
                    " ".join(codes[test.id][1:]),
                    by,
                    _moment(test.received_at, zone),
                    test.session_id,
                    " ".join(map(str, test.unproven)),
                    void and _moment(void.at, zone),
                    void and void.reason,
                    _entered(db, test),
                    "",
                    "",
                    "",
                    "",
                    lanes.get(test.id),
                    marked and _moment(marked.at, zone),
                    marked and marked.note,
                ),
            )


def _entered(db: Session, test: Test) -> str:
    """The entered readings and evidence, if they are more than the verdict pass implies."""
    if test.verdict == What.PASS and not test.evidence:
        wiring = find_wiring(db, test.wiring)
        if read(wiring, test.joined, test.probed) == rebuild(wiring, []):
            return ""
    return write_entered(test.joined, test.probed, test.evidence)


def _repairs(db: Session, zone: ZoneInfo) -> Iterator[tuple[datetime, Sequence[object]]]:
    for repair, code, by in queries.repair_rows(db):
        yield (
            repair.at,
            (
                repair.id,
                code,
                _moment(repair.at, zone),
                What.REPAIR,
                "",
                "",
                "",
                "",
                "",
                by,
                _moment(repair.received_at, zone),
                "",
                "",
                "",
                "",
                "",
                repair.what,
                repair.end,
                _dollars(repair.cost_cents),
                repair.length_mm and format_length(repair.length_mm, Unit.METERS),
                "",
                "",
                "",
            ),
        )


def _dollars(cents: int | None) -> str | None:
    return None if cents is None else f"{cents // 100}.{cents % 100:02}"


def _moment(at: datetime | None, zone: ZoneInfo) -> str | None:
    return at.astimezone(zone).isoformat() if at else None
