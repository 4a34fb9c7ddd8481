"""The repairs of a sheet of tests: those that a row tells of, those by themselves, and those that must have been."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID, uuid5

from service.exchange.sheets.core.duplicates import LoggedTest
from service.exchange.sheets.core.test_row import TestRow
from service.gear.queries import ItemFacts
from service.season.core import What
from service.testlog.core import LogEntry, in_time_order
from service.testlog.models import Repair, WrongMark

BETWEEN = "Repaired before this pass; the sheet does not say how."
_TOLD = "told"


@dataclass(frozen=True)
class TestEntry:
    """A row of an item, and when it was: a test to be logged, or one that is `logged`; maybe a repair with it. It went
    `through` other items, too.
    """

    row: TestRow
    item: ItemFacts
    at: datetime
    id: UUID
    logged: LoggedTest | None = None
    through: tuple[UUID, ...] = ()

    @property
    def adds(self) -> bool:
        """Whether a test is to be logged."""
        return self.logged is None and not self.row.left_out

    @property
    def mark(self) -> WrongMark | None:
        """Its tester's word that the test was wrong, for a lead here to decide."""
        if self.row.marked is None:
            return None
        return WrongMark(test_id=self.id, at=self.row.marked, person_id=None, note=self.row.marked_why)


def repair_ids(test_id: UUID) -> tuple[UUID, UUID]:
    """The ids of the repair that came with a test, and of the one told after that was only concluded."""
    first = uuid5(test_id, "repair")
    return first, uuid5(first, _TOLD)


def repair_with(entry: TestEntry, now: datetime, *, between: bool) -> Repair | None:
    """The repair that the row of a test tells of, or with `between` that must have been before its pass."""
    what = entry.row.repair or (BETWEEN if between else "")
    if not what or entry.row.left_out:
        return None
    # At the same instant it is taken as after the fail, and before the pass that proves it (`in_time_order`).
    at = min(entry.logged.at if entry.logged else entry.at, now)
    return Repair(
        id=repair_ids(entry.id)[0],
        item_id=entry.item.id,
        end=None,
        what=what,
        length_mm=None,
        cost_cents=None,
        at=at,
        received_at=now,
        person_id=None,
    )


def repair_in(row: TestRow, item_id: UUID, repair_id: UUID, at: datetime, now: datetime) -> Repair:
    """The repair that a row is of."""
    return Repair(
        id=repair_id,
        item_id=item_id,
        end=row.end,
        what=row.mended,
        length_mm=row.cut_to_mm,
        cost_cents=row.cost_cents,
        at=at,
        received_at=now,
        person_id=None,
    )


def unmended(
    entries: Sequence[TestEntry], repairs: Sequence[Repair], histories: Mapping[UUID, Sequence[LogEntry]]
) -> list[TestEntry]:
    """The new tests that passed after one of the same item had failed, in the sheet or in the log, with no repair told
    in between; as if what came of the one before had been a repair. An export, and a row that denies a repair, say so.
    """
    by_id = {entry.id: entry for entry in entries}
    of_items = {item_id: list(history) for item_id, history in histories.items()}
    there = {event.entry for history in histories.values() for event in history}
    for entry in entries:
        if entry.adds:
            of_items[entry.item.id].append(LogEntry(entry.at, entry.row.what, entry.id))
    for repair in repairs:
        if repair.id not in there:
            of_items[repair.item_id].append(LogEntry(repair.at, What.REPAIR, repair.id))
    passed = [by_id[test_id] for history in of_items.values() for test_id in _passed_unmended(history, by_id)]
    return sorted(passed, key=lambda entry: entry.row.line)


def _passed_unmended(history: Sequence[LogEntry], by_id: Mapping[UUID, TestEntry]) -> Iterable[UUID]:
    last: LogEntry | None = None
    for event in in_time_order(history):
        if event.what in (What.FAIL, What.REPAIR):
            last = event
        elif event.what is What.PASS and last is not None:
            passed, failed = by_id.get(event.entry), by_id.get(last.entry)
            if last.what is What.REPAIR:
                last = None
            elif passed and passed.adds and not passed.row.own and not (failed and failed.row.unrepaired):
                yield event.entry
                last = None
