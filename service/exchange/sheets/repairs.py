"""The repairs of a sheet of tests: in rows of tests, in rows of their own, and those that are concluded."""

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
    """A row of an item and its instant: a test to be logged, or one that is already `logged`, perhaps with a repair. It
    went `through` further items.
    """

    row: TestRow
    item: ItemFacts
    at: datetime
    id: UUID
    logged: LoggedTest | None = None
    through: tuple[UUID, ...] = ()

    @property
    def adds(self) -> bool:
        """Whether a new test has to be logged."""
        return self.logged is None and not self.row.left_out

    @property
    def mark(self) -> WrongMark | None:
        """The tester's mark that the test was wrong, which a lead has to decide about."""
        if self.row.marked is None:
            return None
        return WrongMark(test_id=self.id, at=self.row.marked, person_id=None, note=self.row.marked_why)


def repair_ids(test_id: UUID) -> tuple[UUID, UUID]:
    """The ids of the repair that is concluded for a test or told with it, and of one that is told after the
    conclusion.
    """
    first = uuid5(test_id, "repair")
    return first, uuid5(first, _TOLD)


def repair_with(entry: TestEntry, now: datetime, *, between: bool) -> Repair | None:
    """The repair in the row of a test, or with `between` the concluded repair before its pass."""
    what = entry.row.repair or (BETWEEN if between else "")
    if not what or entry.row.left_out:
        return None
    # At the same instant it comes after the fail and before the pass that proves it (`in_time_order`).
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
    """The repair in a row of its own."""
    return Repair(
        id=repair_id,
        item_id=item_id,
        end=row.end,
        what=row.what_repaired,
        length_mm=row.cut_to_mm,
        cost_cents=row.cost_cents,
        at=at,
        received_at=now,
        person_id=None,
    )


def passes_without_repair(
    entries: Sequence[TestEntry], repairs: Sequence[Repair], histories: Mapping[UUID, Sequence[LogEntry]]
) -> list[TestEntry]:
    """The new passes of items that had failed before, in the sheet or in the log, without a repair in between; each is
    then treated as if the item was repaired before it. Rows of an export and rows that deny a repair are left out.
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
    passed = [by_id[test_id] for history in of_items.values() for test_id in _passed_without_repair(history, by_id)]
    return sorted(passed, key=lambda entry: entry.row.line)


def _passed_without_repair(history: Sequence[LogEntry], by_id: Mapping[UUID, TestEntry]) -> Iterable[UUID]:
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
