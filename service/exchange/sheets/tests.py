"""Planning the import of a sheet of tests: what becomes of each row.

The stages: *read* each row that is an entry (`core.test_row`); *match* it with its item by code or label, then with a
test in the log; find the *repairs* that are told or concluded; *decide* whether it is new, changed or the same;
and *write* the plan (`tests_write`).

A row is recognized by its item, instant, verdict and fault (`core.duplicates`), so importing the same sheet again
changes nothing, and a repair that was added to a row is imported alone. An export has the entered readings, and its
repairs are rows of their own, so it is imported without loss. Other sheets have no readings: a pass is logged with good
readings, as if somebody taps Pass, and a fail with the readings or evidence of `core.faults`. If they have a pass after
a fail without a repair in between, somebody has to say whether there was one.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime
from functools import partial
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.exchange.sheets import queries
from service.exchange.sheets.core.cells import folded
from service.exchange.sheets.core.duplicates import LoggedRow, LoggedTest, ids_of
from service.exchange.sheets.core.import_options import SheetKind, skipped_rows_of
from service.exchange.sheets.core.row_status import (
    EntryTitle,
    FactKind,
    GearTitle,
    HelpKind,
    HelpPage,
    PlannedRow,
    RepairQuestion,
    RowFact,
    RowStatus,
    left_out,
)
from service.exchange.sheets.core.sheet import SheetTable
from service.exchange.sheets.core.skipped_rows import first_cell, is_empty, lines_above
from service.exchange.sheets.core.test_row import TestChoices, TestRow, read_row
from service.exchange.sheets.new_tests import check_readings, evidence_facts, moment_of, new_test
from service.exchange.sheets.repairs import (
    BETWEEN,
    TestEntry,
    passes_without_repair,
    repair_ids,
    repair_in,
    repair_with,
)
from service.exchange.sheets.tests_write import TestsPlan
from service.gear.core import ItemState
from service.gear.queries import ItemFacts
from service.kit.codes import read_code
from service.kit.dates import local_date
from service.kit.problems import Invalid, invalid
from service.season.core import What
from service.testlog.bulk_logging import Past, foreseen
from service.testlog.models import Repair
from service.testlog.queries import events

_EARLIER_MOST = 3


def plan(
    db: Session,
    sheet: SheetTable,
    mapping: Sequence[str],
    choices: TestChoices,
    now: datetime,
    zone: ZoneInfo,
) -> TestsPlan:
    """What becomes of each row. Nothing is written."""
    planner = _Planner(db, now, zone)
    skipped = skipped_rows_of(sheet, mapping, SheetKind.TESTS) | lines_above(sheet)
    for line in (*sheet.above, *sheet.lines):
        if line.number in skipped:
            one = skipped[line.number]
            planner.rows.append(left_out(line.number, one.status, first_cell(line), one.why))
            continue
        if is_empty(line, mapping):
            planner.rows.append(left_out(line.number, RowStatus.SKIPPED, "", "Nothing in it is imported."))
            continue
        try:
            planner.take(read_row(line, mapping, choices))
        except Invalid as refusal:
            facts = tuple(RowFact(FactKind.REFUSED_TEST, key, why) for key, why in refusal.errors.items())
            planner.rows.append(PlannedRow(line.number, RowStatus.ERROR, first_cell(line), facts))
    return planner.finish(choices.repaired_between)


class _Planner:
    """Matches each row with its item and test, one after the other."""

    def __init__(self, db: Session, now: datetime, zone: ZoneInfo) -> None:
        self.db, self.now, self.zone = db, now, zone
        self.rows: list[PlannedRow] = []
        self.entries: list[TestEntry] = []
        self.tags = queries.tags(db)
        self.items = queries.items(db)
        self.codes = {known.item: known.code for known in self.tags.values() if known.live and known.item}
        self.labels: dict[str, list[UUID]] = defaultdict(list)
        for item in self.items.values():
            self.labels[folded(item.label)].append(item.id)
        self.taken: dict[UUID, list[tuple[TestRow, datetime]]] = defaultdict(list)
        self.repair_rows: dict[UUID, list[tuple[TestRow, datetime]]] = defaultdict(list)
        self.lines: dict[UUID, int] = {}
        self.logged: dict[UUID, list[LoggedTest]] = {}

    def take(self, row: TestRow) -> None:
        """Match a row with its item.

        Raises:
            Invalid: the row cannot be imported.
        """
        item = self._item(row.named)
        at = moment_of(row, self.now, self.zone)
        if not row.left_out and row.what is not What.REPAIR:
            check_readings(self.db, row, self._chain(row, item))
        if row.id is not None:
            if row.id in self.lines:
                raise invalid("id", f"the test {row.id} is on line {self.lines[row.id]} already.")
            self.lines[row.id] = row.line
        (self.repair_rows if row.what is What.REPAIR else self.taken)[item.id].append((row, at))

    def finish(self, repaired_between: bool | None) -> TestsPlan:
        """The plan, after every row was added."""
        plan = TestsPlan(self.rows)
        repairs_of_rows = self._plan_repairs(plan)
        entries = self._entries()
        missing = self._missing(entries)
        histories = events(self.db, {*self.taken, *self.repair_rows})
        between = passes_without_repair(entries, [*repairs_of_rows, *self._repairs_with_tests(entries)], histories)
        concluded = {entry.id for entry in between} if repaired_between else set[UUID]()
        repairs = {
            entry.id: repair
            for entry in entries
            if (repair := repair_with(entry, self.now, between=entry.id in concluded)) is not None
        }
        here = queries.repairs_among(self.db, [one.id for one in repairs.values()])
        for test_id, repair in repairs.items():
            if here.get(repair.id) == BETWEEN != repair.what:
                repair.id = repair_ids(test_id)[1]  # the logged one was only concluded; this one is told by the sheet
        here |= queries.repairs_among(self.db, [one.id for one in repairs.values()])
        for entry in entries:
            new, facts, ways = [], list[RowFact](), list[HelpPage]()
            if entry.adds:
                code = self.codes.get(entry.item.id, "")
                test = new_test(self.db, entry, code, self._chain(entry.row, entry.item))
                new.append(Past(entry.item.id, test=test, through=entry.through, marked=entry.mark))
                facts += evidence_facts(entry, test)
                for one in missing.get((entry.item.id, local_date(entry.at, self.zone)), ())[:_EARLIER_MOST]:
                    first = next(iter(one.note.splitlines()), "")
                    facts.append(RowFact(FactKind.EARLIER_TEST, "note", one.verdict, first))
                    ways.append(HelpPage(HelpKind.EARLIER_TEST, f"/tests/{one.id}", one.verdict))
            facts += _left_out(entry)
            repair = repairs.get(entry.id)
            if repair is not None and repair.id not in here:
                new.append(Past(entry.item.id, repair=repair))
                facts.append(RowFact(FactKind.WITH_REPAIR, "repair", repair.what))
            elif repair is not None and folded(here[repair.id]) != folded(repair.what):
                facts.append(RowFact(FactKind.REPAIR_STAYS, "repair", repair.what, here[repair.id]))
            plan.past += new
            status = _status(entry, bool(new))
            title = self._title(entry.row, entry.item)
            self.rows.append(PlannedRow(entry.row.line, status, title, tuple(facts), tuple(ways)))
        plan.rows.sort(key=lambda row: row.line)
        plan.ends = self._ends(plan.past)
        plan.last = self._last(plan.past)
        if between and repaired_between is None:
            plan.question = self._question(between, plan)
        return plan

    def _ends(self, past: Sequence[Past]) -> Counter[ItemState]:
        """The number of this sheet's items in each state, once all entries of `past` are in the log."""
        states = {item_id: ItemState(self.items[item_id].state) for item_id in (*self.taken, *self.repair_rows)}
        return Counter((states | foreseen(self.db, past, self.now)).values())

    def _last(self, past: Sequence[Past]) -> dict[UUID, datetime]:
        """The latest instant in the sheet for each item that it names."""
        moments = [
            (item_id, at) for rows in (self.taken, self.repair_rows) for item_id, mine in rows.items() for _, at in mine
        ]
        moments += [(item_id, at) for one in past if one.test and (at := one.test.tested_at) for item_id in one.through]
        return dict(sorted(moments, key=lambda one: one[1]))

    def _question(self, between: Sequence[TestEntry], plan: TestsPlan) -> RepairQuestion:
        """The question about repairs, with the result of either answer."""
        repaired = [repair for entry in between if (repair := repair_with(entry, self.now, between=True)) is not None]
        ends = self._ends([*plan.past, *(Past(one.item_id, repair=one) for one in repaired)])
        return RepairQuestion(tuple((one.row.line, self._title(one.row, one.item)) for one in between), ends, plan.ends)

    def _plan_repairs(self, plan: TestsPlan) -> list[Repair]:
        """Decide the rows of their own for repairs; returns the repairs to add."""
        here = queries.repairs_among(self.db, self.lines)
        logged, added = queries.repairs_of(self.db, self.repair_rows), list[Repair]()
        for item_id, rows in self.repair_rows.items():
            free = {(at, folded(what)): repair_id for repair_id, at, what in logged.get(item_id, ())}
            turns: Counter[UUID] = Counter()
            for row, at in rows:
                repair_id = row.id or free.pop((at, folded(row.what_repaired)), None)
                if repair_id is None:
                    repair_id = row.id_of(item_id, turns[row.id_of(item_id, 0)])
                    turns[row.id_of(item_id, 0)] += 1
                    is_new = True
                else:
                    is_new = row.id is not None and row.id not in here
                if is_new:
                    added.append(repair_in(row, item_id, repair_id, min(at, self.now), self.now))
                    plan.past.append(Past(item_id, repair=added[-1]))
                status = RowStatus.NEW if is_new else RowStatus.SAME
                self.rows.append(PlannedRow(row.line, status, self._title(row, self.items[item_id])))
        return added

    def _repairs_with_tests(self, entries: Iterable[TestEntry]) -> list[Repair]:
        return [repair for entry in entries if (repair := repair_with(entry, self.now, between=False)) is not None]

    def _entries(self) -> list[TestEntry]:
        """Each row with its test in the log, or with the id of a new one; in the order of the sheet."""
        logged = self.logged = queries.tests_of(self.db, self.taken)
        there = queries.tests_by_id(self.db, self.lines)
        repaired = self._repaired(one.id for mine in logged.values() for one in mine)
        entries = []
        for item_id, taken in self.taken.items():
            item = self.items[item_id]
            mine = {one.id: replace(one, repair=repaired.get(one.id, "")) for one in logged.get(item_id, ())}
            unnamed = [(row, at) for row, at in taken if row.id is None]
            typed = [
                LoggedRow(at, row.what.value, row.fault, row.note, partial(row.id_of, item_id), row.repair)
                for row, at in unnamed
            ]
            ids = ids_of(typed, [*mine.values()], self.lines)
            entries += [
                TestEntry(row, item, at, test_id, mine.get(test_id))
                for (row, at), test_id in zip(unnamed, ids, strict=True)
            ]
            entries += [
                TestEntry(
                    row,
                    item,
                    at,
                    row.id,
                    there.get(row.id),
                    tuple(self._item(code).id for code in row.through),
                )
                for row, at in taken
                if row.id is not None
            ]
        return sorted(entries, key=lambda entry: entry.row.line)

    def _missing(self, entries: Iterable[TestEntry]) -> dict[tuple[UUID, date], list[LoggedTest]]:
        """The logged tests from an earlier sheet that are not in this one, by item and day: a corrected row leaves its
        first test in the log.
        """
        used, missing = {entry.id for entry in entries}, defaultdict(list)
        for item_id, mine in self.logged.items():
            for one in mine:
                if one.by_sheet and one.id not in used:
                    missing[item_id, local_date(one.at, self.zone)].append(one)
        return missing

    def _repaired(self, test_ids: Iterable[UUID]) -> dict[UUID, str]:
        """The words of the repairs that were imported with these tests."""
        ids = {repair_id: test_id for test_id in test_ids for repair_id in repair_ids(test_id)}
        here = queries.repairs_among(self.db, list(ids))
        return {test_id: here[repair_id] for repair_id, test_id in ids.items() if repair_id in here}

    def _chain(self, row: TestRow, item: ItemFacts) -> Iterator[ItemFacts]:
        """The items that a test went through, looked up as they are needed."""
        yield item
        for code in row.through:
            yield self._item(code, "through")

    def _item(self, named: str, field: str = "code") -> ItemFacts:
        """The item that a cell names by its code, or by its label if only one item has it."""
        labeled = self.labels.get(folded(named), [])
        try:
            known = self.tags.get(read_code(named))
        except Invalid as refusal:
            if len(labeled) == 1:
                return self.items[labeled[0]]
            if labeled:
                raise invalid(field, f"{len(labeled)} items have the label “{named}”; write the code.") from refusal
            raise invalid(field, f"no item has the code or label “{named[:40]}”; bring the gear in first.") from refusal
        if known is None or known.item is None:
            raise invalid(field, f"{named[:40]} is on no item here; bring in the gear first.")
        return self.items[known.item]

    def _title(self, row: TestRow, item: ItemFacts) -> EntryTitle:
        named = GearTitle(item.kind, item.length_mm, item.label, code=self.codes.get(item.id, ""))
        return EntryTitle(named, str(row.what), str(row.on))


def _status(entry: TestEntry, writes: bool) -> RowStatus:
    if entry.logged is not None:
        return RowStatus.CHANGED if writes else RowStatus.SAME
    return RowStatus.SKIPPED if entry.row.left_out else RowStatus.NEW


def _left_out(entry: TestEntry) -> list[RowFact]:
    """The facts about what is not imported of a row, and why."""
    row, facts = entry.row, list[RowFact]()
    if row.left_out and (entry.logged is None or row.repair):
        facts.append(RowFact(FactKind.LEFT_OUT, value=row.left_out))
    if entry.logged is not None:
        there = {folded(text) for text in (entry.logged.note, *entry.logged.note.splitlines())}
        # An export names faults in the log's own words, which are not in the note.
        words = [part for part in ("" if row.id else row.fault, row.note) if part]
        facts += [RowFact(FactKind.NOT_ADDED, "note", part) for part in words if folded(part) not in there]
    return facts
