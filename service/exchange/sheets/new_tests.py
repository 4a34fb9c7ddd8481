"""The test that is logged for a row of a sheet: its exported readings, or those that its words mean."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, time
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.diagnosis.diagnosis import diagnose
from service.exchange.sheets.core.faults import interpret_words, refuse_fault_of_pass
from service.exchange.sheets.core.row_status import FactKind, RowFact
from service.exchange.sheets.core.test_row import TestRow
from service.exchange.sheets.repairs import TestEntry
from service.gear.queries import ItemFacts
from service.gear.wirings import find_wiring
from service.kit.dates import parse_instant
from service.kit.problems import invalid
from service.season.core import What
from service.testlog.core import AHEAD_MOST, NewTest, Verdict, with_evidence
from service.testlog.queries import chain_of
from service.testlog.reach import lane_of_each
from service.wiring.faults import rebuild
from service.wiring.wirings import Wiring, names, read

_NOON = time(12)


def moment_of(row: TestRow, now: datetime, zone: ZoneInfo) -> datetime:
    """The instant of a row: at noon if only the day is known.

    Raises:
        Invalid: for `tested_at`, if it is in the future.
    """
    if row.instant is not None:
        at = parse_instant(row.instant)
    else:
        at = datetime.combine(row.on, row.at or _NOON, zone)
        if row.at is None and at > now and at.date() == now.astimezone(zone).date():
            at = now
    if at > now + AHEAD_MOST:
        raise invalid("tested_at", f"{row.on} is in the future; enter the day of the test.")
    return at


def check_readings(db: Session, row: TestRow, items: Iterable[ItemFacts]) -> None:
    """Check that the test of a row through these items can be logged.

    Raises:
        Invalid: it cannot; the error names the column.
    """
    if row.own:
        _check_entered(row, _wiring(db, row, items))
    elif row.what is What.PASS and row.fault and not row.repair:
        refuse_fault_of_pass(row.fault, _wiring(db, row, items), row.end)


def _check_entered(row: TestRow, wiring: Wiring) -> None:
    if row.entered is None:
        return
    readings = read(wiring, row.entered.joined or [], row.entered.probed if row.entered.joined is not None else [])
    verdict = with_evidence(Verdict(diagnose(wiring, readings).verdict), row.entered.evidence)
    if verdict.value != row.what.value:
        raise invalid(
            "entered",
            f"these readings are a {verdict}, and the verdict is {row.what}. Put the verdict right, or "
            "leave this cell empty.",
        )


def new_test(db: Session, entry: TestEntry, code: str, items: Iterable[ItemFacts]) -> NewTest:
    """The test for a row about the item with this code."""
    row, wiring = entry.row, _wiring(db, entry.row, items)
    new = NewTest(
        entry.id,
        code,
        method=row.method,
        note=row.words,
        tested_at=entry.at,
        through=row.through,
        wiring=row.wiring or None,
        lane=row.lane,
    )
    if row.entered is not None:
        return replace(new, joined=row.entered.joined, probed=row.entered.probed, evidence=row.entered.evidence)
    if row.what is What.PARTIAL:
        return new
    if row.what is What.PASS:
        return replace(new, joined=[names(wiring, group) for group in rebuild(wiring, []).groups])
    words = row.fault or row.note or "Failed, and the sheet does not say how."
    finding = interpret_words(words, wiring, row.end)
    groups = [names(wiring, group) for group in rebuild(wiring, finding.faults).groups] if finding.faults else None
    return replace(new, joined=groups, evidence=finding.evidence)


def evidence_facts(entry: TestEntry, test: NewTest) -> list[RowFact]:
    """The facts about what is logged as evidence because a sheet has only words."""
    if entry.row.entered is not None:
        return []
    return [RowFact(FactKind.EVIDENCE, "fault", one.kind) for one in test.evidence]


def _wiring(db: Session, row: TestRow, items: Iterable[ItemFacts]) -> Wiring:
    """The wiring by which a row was tested.

    Raises:
        Invalid: no test with it goes through these items.
    """
    chain = chain_of(db, list(items))
    wiring = find_wiring(db, row.wiring or chain.key)
    lane_of_each(chain, wiring, row.lane)
    return wiring
