"""A sheet of tests against the program: what becomes of each row, and then making it so.

A row is known again by its item, moment, verdict and fault (`core.logged`), so the same sheet a second time changes
nothing, and a repair that was filled in since comes in alone. An export has what was entered, and its repairs are rows
of their own: all of it comes back as it was. Other sheets have no readings: a pass is taken as good readings, as it is
when somebody taps Pass, and a fail as `core.faults` has it; and where they have a pass after a fail and no repair in
between, somebody has to say whether there was one.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime, time
from functools import partial
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.diagnosis.diagnosis import diagnose
from service.exchange.sheets import queries
from service.exchange.sheets.core.asides import above
from service.exchange.sheets.core.cells import folded
from service.exchange.sheets.core.faults import refuse_fault_of_pass, understood
from service.exchange.sheets.core.gear import is_empty
from service.exchange.sheets.core.logged import LoggedRow, LoggedTest, earlier, ids_of
from service.exchange.sheets.core.request import SheetKind, asides_of
from service.exchange.sheets.core.row_status import Fate, RowStatus, Ways
from service.exchange.sheets.core.sheet import SheetTable
from service.exchange.sheets.core.tests import WORDS, TestChoices, TestRow, read_row
from service.exchange.sheets.tests_import import TestsPlan, states_in_words
from service.exchange.sheets.tests_repairs import (
    BETWEEN,
    TestEntry,
    repair_ids,
    repair_in,
    repair_with,
    unmended,
)
from service.gear.core import ItemState, item_title
from service.gear.queries import ItemFacts
from service.gear.wirings import find_wiring
from service.kit.codes import read_code
from service.kit.dates import local_date, parse_instant
from service.kit.lengths import Unit
from service.kit.problems import Invalid, invalid
from service.season.core import What
from service.testlog.core import (
    AHEAD_MOST,
    NewTest,
    Verdict,
    with_evidence,
)
from service.testlog.many import Past, foreseen
from service.testlog.models import Repair
from service.testlog.queries import chain_of, events
from service.testlog.reach import lane_of_each
from service.wiring.faults import rebuild
from service.wiring.wirings import Wiring, names, read

_NOON = time(12)
_EARLIER_MOST = 3
_NAMED_MOST = 3


def plan(
    db: Session,
    sheet: SheetTable,
    mapping: Sequence[str],
    choices: TestChoices,
    now: datetime,
    zone: ZoneInfo,
    unit: Unit,
) -> TestsPlan:
    """What becomes of each row. Nothing is written."""
    planner = _Planner(db, now, zone, unit)
    aside = asides_of(sheet, mapping, SheetKind.TESTS) | above(sheet)
    for line in (*sheet.above, *sheet.lines):
        if line.number in aside:
            title = next((cell.strip() for cell in line.cells if cell.strip()), "")[:60]
            planner.judge(line.number, aside[line.number].fate, title, aside[line.number].why)
            continue
        if is_empty(line, mapping):
            planner.judge(line.number, Fate.SKIPPED, "", "Nothing in it is imported.")
            continue
        try:
            planner.take(read_row(line, mapping, choices))
        except Invalid as refusal:
            title = next((cell.strip() for cell in line.cells if cell.strip()), "")[:60]
            told = [f"{WORDS.get(key, key)}: {why}" for key, why in refusal.errors.items()]
            planner.judge(line.number, Fate.ERROR, title, *told)
    return planner.finish(choices.repaired_between)


class _Planner:
    """Finds the item of each row and what the row says of it, one after the other."""

    def __init__(self, db: Session, now: datetime, zone: ZoneInfo, unit: Unit) -> None:
        self.db, self.now, self.zone, self.unit = db, now, zone, unit
        self.rows: list[RowStatus] = []
        self.entries: list[TestEntry] = []
        self.tags = queries.tags(db)
        self.items = queries.items(db)
        self.codes = {known.item: known.code for known in self.tags.values() if known.live and known.item}
        self.labels: dict[str, list[UUID]] = defaultdict(list)
        for item in self.items.values():
            self.labels[folded(item.label)].append(item.id)
        self.taken: dict[UUID, list[tuple[TestRow, datetime]]] = defaultdict(list)
        self.mended: dict[UUID, list[tuple[TestRow, datetime]]] = defaultdict(list)
        self.lines: dict[UUID, int] = {}
        self.logged: dict[UUID, list[LoggedTest]] = {}

    def judge(self, line: int, fate: Fate, title: str, *told: str, ways: Ways = ()) -> None:
        """Note what becomes of a row."""
        self.rows.append(RowStatus(line, fate, title, told, ways))

    def take(self, row: TestRow) -> None:
        """Find out what a row becomes.

        Raises:
            Invalid: it cannot be taken.
        """
        item = self._item(row.named)
        at = self._at(row)
        if row.own and row.what is not What.REPAIR and not row.left_out:
            self._check_entered(row, item)
        if row.what is What.PASS and not (row.own or row.left_out or row.repair) and row.fault:
            refuse_fault_of_pass(row.fault, self._wiring(row, item), row.end)
        if row.id is not None:
            if row.id in self.lines:
                raise invalid("id", f"the test {row.id} is on line {self.lines[row.id]} already.")
            self.lines[row.id] = row.line
        (self.mended if row.what is What.REPAIR else self.taken)[item.id].append((row, at))

    def finish(self, repaired_between: bool | None) -> TestsPlan:
        """The whole plan, once every row was taken."""
        found = TestsPlan(self.rows)
        mended = self._mend(found)
        entries = self._entries()
        missing = self._missing(entries)
        histories = events(self.db, {*self.taken, *self.mended})
        between = unmended(entries, [*mended, *self._told_repairs(entries)], histories)
        concluded = {entry.id for entry in between} if repaired_between else set[UUID]()
        repairs = {
            entry.id: repair
            for entry in entries
            if (repair := repair_with(entry, self.now, between=entry.id in concluded)) is not None
        }
        here = queries.repairs_among(self.db, [one.id for one in repairs.values()])
        for test_id, repair in repairs.items():
            if here.get(repair.id) == BETWEEN != repair.what:
                repair.id = repair_ids(test_id)[1]  # that one was only concluded; this one the sheet tells
        here |= queries.repairs_among(self.db, [one.id for one in repairs.values()])
        for entry in entries:
            new, told, ways = [], list[str](), list[tuple[str, str]]()
            if entry.adds:
                test = self._test(entry)
                new.append(Past(entry.item.id, test=test, through=entry.through, marked=entry.mark))
                told += self._dropped_words(entry, test)
                for one in missing.get((entry.item.id, local_date(entry.at, self.zone)), ())[:_EARLIER_MOST]:
                    sentence, words = earlier(one)
                    told.append(sentence)
                    ways.append((f"/tests/{one.id}", words))
            told += _left_out(entry)
            repair = repairs.get(entry.id)
            if repair is not None and repair.id not in here:
                new.append(Past(entry.item.id, repair=repair))
                told.append(f"And a repair: {repair.what}")
            elif repair is not None and folded(here[repair.id]) != folded(repair.what):
                told.append(
                    f"Its repair stays “{here[repair.id]}”, as it was logged; log “{repair.what}” on the item's page."
                )
            found.past += new
            fate = _fate(entry, bool(new))
            self.judge(entry.row.line, fate, self._title(entry.row, entry.item), *told, ways=tuple(ways))
        found.rows.sort(key=lambda row: row.line)
        found.ends = self._ends(found.past)
        if between and repaired_between is None:
            found.question = self._question(between, found)
        return found

    def _dropped_words(self, entry: TestEntry, test: NewTest) -> list[str]:
        """What is kept as evidence where a sheet has nothing but words."""
        if entry.row.entered is not None:
            return []
        return [f"Kept as what was found: {one.kind.value.replace('_', ' ')}." for one in test.evidence]

    def _ends(self, past: Sequence[Past]) -> Counter[ItemState]:
        """How many of the items of this sheet are in which state once all of `past` is in the log."""
        states = {item_id: ItemState(self.items[item_id].state) for item_id in (*self.taken, *self.mended)}
        return Counter((states | foreseen(self.db, past, self.now)).values())

    def _question(self, between: Sequence[TestEntry], found: TestsPlan) -> str:
        """Whether there was a repair before these passes, and what either answer comes to."""
        repaired = [repair for entry in between if (repair := repair_with(entry, self.now, between=True)) is not None]
        ends = self._ends([*found.past, *(Past(one.item_id, repair=one) for one in repaired)])
        rows = [f"line {one.row.line} ({self._title(one.row, one.item)})" for one in between[:_NAMED_MOST]]
        more = f" and {len(between) - len(rows):,} more" if len(between) > len(rows) else ""
        follow = "1 pass follows" if len(between) == 1 else f"{len(between):,} passes follow"
        return (
            f"{follow} a fail with no repair told in between: {', '.join(rows)}{more}. Was there a repair in between? "
            f"If so, the items of this sheet end as {states_in_words(ends)}; if not, as {states_in_words(found.ends)}."
        )

    def _mend(self, found: TestsPlan) -> list[Repair]:
        """Judge the rows that are of a repair by itself; the repairs that they add."""
        here = queries.repairs_among(self.db, self.lines)
        logged, added = queries.repairs_of(self.db, self.mended), list[Repair]()
        for item_id, rows in self.mended.items():
            free = {(at, folded(what)): repair_id for repair_id, at, what in logged.get(item_id, ())}
            turns: Counter[UUID] = Counter()
            for row, at in rows:
                repair_id = row.id or free.pop((at, folded(row.mended)), None)
                if repair_id is None:
                    repair_id = row.id_of(item_id, turns[row.id_of(item_id, 0)])
                    turns[row.id_of(item_id, 0)] += 1
                    is_new = True
                else:
                    is_new = row.id is not None and row.id not in here
                if is_new:
                    added.append(repair_in(row, item_id, repair_id, min(at, self.now), self.now))
                    found.past.append(Past(item_id, repair=added[-1]))
                self.judge(row.line, Fate.NEW if is_new else Fate.SAME, self._title(row, self.items[item_id]))
        return added

    def _told_repairs(self, entries: Iterable[TestEntry]) -> list[Repair]:
        return [repair for entry in entries if (repair := repair_with(entry, self.now, between=False)) is not None]

    def _check_entered(self, row: TestRow, item: ItemFacts) -> None:
        """Whether what an export has of a test can be logged here.

        Raises:
            Invalid: it cannot, with the column at fault.
        """
        wiring = self._wiring(row, item)
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

    def _wiring(self, row: TestRow, item: ItemFacts) -> Wiring:
        """The wiring by which a row was tested.

        Raises:
            Invalid: no test by it goes through these pieces.
        """
        chain = chain_of(self.db, [item, *(self._item(code, "through") for code in row.through)])
        wiring = find_wiring(self.db, row.wiring or chain.key)
        lane_of_each(chain, wiring, row.lane)
        return wiring

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
            said = [
                LoggedRow(at, row.what.value, row.fault, row.note, partial(row.id_of, item_id), row.repair)
                for row, at in unnamed
            ]
            ids = ids_of(said, [*mine.values()], self.lines)
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
        """The tests that came by a sheet and that this one does not have, by item and day: a row that was put right
        leaves its first test there.
        """
        used, found = {entry.id for entry in entries}, defaultdict(list)
        for item_id, mine in self.logged.items():
            for one in mine:
                if one.by_sheet and one.id not in used:
                    found[item_id, local_date(one.at, self.zone)].append(one)
        return found

    def _repaired(self, test_ids: Iterable[UUID]) -> dict[UUID, str]:
        """The words of the repairs that came with these tests."""
        ids = {repair_id: test_id for test_id in test_ids for repair_id in repair_ids(test_id)}
        here = queries.repairs_among(self.db, list(ids))
        return {test_id: here[repair_id] for repair_id, test_id in ids.items() if repair_id in here}

    def _item(self, named: str, field: str = "code") -> ItemFacts:
        """The item that a cell names by its code, or by its label where just one has it."""
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

    def _at(self, row: TestRow) -> datetime:
        """When it was: at noon where only the day is known."""
        if row.instant is not None:
            at = parse_instant(row.instant)
        else:
            at = datetime.combine(row.on, row.at or _NOON, self.zone)
            if row.at is None and at > self.now and at.date() == self.now.astimezone(self.zone).date():
                at = self.now
        if at > self.now + AHEAD_MOST:
            raise invalid("tested_at", f"{row.on} is in the future; enter the day of the test.")
        return at

    def _test(self, entry: TestEntry) -> NewTest:
        row, item = entry.row, entry.item
        wiring = self._wiring(row, item)
        new = NewTest(
            entry.id,
            self.codes.get(item.id, ""),
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
            return replace(new, joined=_good(wiring))
        found = understood(row.fault or row.note or "Failed, and the sheet does not say how.", wiring, row.end)
        groups = [names(wiring, group) for group in rebuild(wiring, found.faults).groups] if found.faults else None
        return replace(new, joined=groups, evidence=found.evidence)

    def _title(self, row: TestRow, item: ItemFacts) -> str:
        name = item_title(item, self.unit)
        return f"{self.codes.get(item.id, '')}, {name}: {row.what} on {row.on}"


def _fate(entry: TestEntry, writes: bool) -> Fate:
    if entry.logged is not None:
        return Fate.CHANGED if writes else Fate.SAME
    return Fate.SKIPPED if entry.row.left_out else Fate.NEW


def _left_out(entry: TestEntry) -> list[str]:
    """What of a row is not taken, and why."""
    row, told = entry.row, []
    if row.left_out and (entry.logged is None or row.repair):
        told.append(row.left_out)
    if entry.logged is not None:
        there = {folded(text) for text in (entry.logged.note, *entry.logged.note.splitlines())}
        # A sheet of the log's own names faults as the log words them, which are not in the note.
        words = [part for part in ("" if row.id else row.fault, row.note) if part]
        missing = [part for part in words if folded(part) not in there]
        told += [
            f"“{part[:60]}” is not added, since a logged test is never changed; note it on the item."
            for part in missing
        ]
    return told


def _good(wiring: Wiring) -> list[list[str]]:
    """What a cable without a fault gives."""
    return [names(wiring, group) for group in rebuild(wiring, []).groups]
