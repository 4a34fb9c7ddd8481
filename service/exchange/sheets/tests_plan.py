"""A sheet of tests against the program: what becomes of each row, and then making it so.

A row is known again by its item, moment, verdict and fault (`core.logged`), so the same sheet a second time changes
nothing, and a repair that was filled in since comes in alone. A sheet has no readings: a pass is taken as good
readings, as it is when somebody taps Pass, and a fail as `core.faults` has it.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from functools import partial
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.exchange.sheets import queries
from service.exchange.sheets.core.asides import above
from service.exchange.sheets.core.asked import SheetKind, asides_of
from service.exchange.sheets.core.cells import folded
from service.exchange.sheets.core.fates import Fate, Judged, Ways
from service.exchange.sheets.core.faults import understood
from service.exchange.sheets.core.gear import is_empty
from service.exchange.sheets.core.logged import Logged, Said, earlier, ids_of
from service.exchange.sheets.core.sheet import Sheet
from service.exchange.sheets.core.tests import WORDS, TestChoices, TestRow, read_row
from service.exchange.sheets.tests_import import TestsPlan
from service.gear.core import item_name
from service.gear.queries import ItemFacts
from service.gear.wirings import find_wiring
from service.kit.codes import read_code
from service.kit.dates import local_date, parse_instant
from service.kit.lengths import Unit
from service.kit.problems import Invalid, invalid
from service.testlog.core import AHEAD_MOST, NewTest, Verdict
from service.testlog.many import Past
from service.testlog.models import Repair
from service.wiring.readings import names
from service.wiring.rebuild import rebuild

BETWEEN = "Repaired before this pass; the sheet does not say how."
_NOON = time(12)
_TOLD = "told"
_EARLIER_MOST = 3


@dataclass(frozen=True)
class TestEntry:
    """A row of an item, and when it was: a test to be logged, or one that is `logged`; maybe a repair with it."""

    row: TestRow
    item: ItemFacts
    at: datetime
    id: UUID
    logged: Logged | None = None


def plan(
    db: Session,
    sheet: Sheet,
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
        self.rows: list[Judged] = []
        self.entries: list[TestEntry] = []
        self.tags = queries.tags(db)
        self.items = queries.items(db)
        self.codes = {known.item: known.code for known in self.tags.values() if known.live and known.item}
        self.labels: dict[str, list[UUID]] = defaultdict(list)
        for item in self.items.values():
            self.labels[folded(item.label)].append(item.id)
        self.taken: dict[UUID, list[tuple[TestRow, datetime]]] = defaultdict(list)
        self.lines: dict[UUID, int] = {}
        self.logged: dict[UUID, list[Logged]] = {}

    def judge(self, line: int, fate: Fate, title: str, *told: str, ways: Ways = ()) -> None:
        """Note what becomes of a row."""
        self.rows.append(Judged(line, fate, title, told, ways))

    def take(self, row: TestRow) -> None:
        """Find out what a row becomes.

        Raises:
            Invalid: it cannot be taken.
        """
        item = self._item(row.named)
        at = self._at(row)
        if row.id is not None:
            if row.id in self.lines:
                raise invalid("id", f"the test {row.id} is on line {self.lines[row.id]} already.")
            self.lines[row.id] = row.line
        self.taken[item.id].append((row, at))

    def finish(self, repaired_between: bool) -> TestsPlan:
        """The whole plan, once every row was taken."""
        found = TestsPlan(self.rows)
        entries = self._entries()
        missing = self._missing(entries)
        between = set(_repaired_between(entries)) if repaired_between else set()
        repairs = {
            entry.id: repair
            for entry in entries
            if (repair := self._repair(entry, entry.id in between)) is not None
        }
        here = queries.repairs_among(self.db, [one.id for one in repairs.values()])
        for repair in repairs.values():
            if here.get(repair.id) == BETWEEN != repair.what:
                repair.id = uuid5(repair.id, _TOLD)  # that one was only concluded; this one the sheet tells
        here |= queries.repairs_among(self.db, [one.id for one in repairs.values()])
        for entry in entries:
            new, told, ways = [], list[str](), list[tuple[str, str]]()
            if entry.logged is None and not entry.row.left_out:
                test = self._test(entry)
                new.append(Past(entry.item.id, test=test))
                told += [
                    f"Kept as what was found: {one.kind.value.replace('_', ' ')}." for one in test.evidence
                ]
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
            self.judge(entry.row.line, fate, self._title(entry), *told, ways=tuple(ways))
        found.rows.sort(key=lambda row: row.line)
        return found

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
                Said(at, row.verdict.value, row.fault, row.note, partial(row.id_of, item_id), row.repair)
                for row, at in unnamed
            ]
            ids = ids_of(said, [*mine.values()], self.lines)
            entries += [
                TestEntry(row, item, at, test_id, mine.get(test_id))
                for (row, at), test_id in zip(unnamed, ids, strict=True)
            ]
            entries += [
                TestEntry(row, item, at, row.id, there.get(row.id)) for row, at in taken if row.id is not None
            ]
        return sorted(entries, key=lambda entry: entry.row.line)

    def _missing(self, entries: Iterable[TestEntry]) -> dict[tuple[UUID, date], list[Logged]]:
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
        ids = {repair_id: test_id for test_id in test_ids for repair_id in _repair_ids(test_id)}
        here = queries.repairs_among(self.db, list(ids))
        return {test_id: here[repair_id] for repair_id, test_id in ids.items() if repair_id in here}

    def _item(self, named: str) -> ItemFacts:
        """The item that a row is of, by its code, or by its label where just one has it."""
        labeled = self.labels.get(folded(named), [])
        try:
            known = self.tags.get(read_code(named))
        except Invalid as refusal:
            if len(labeled) == 1:
                return self.items[labeled[0]]
            if labeled:
                raise invalid(
                    "code", f"{len(labeled)} items have the label “{named}”; write the code."
                ) from refusal
            raise invalid(
                "code", f"no item has the code or label “{named[:40]}”; bring the gear in first."
            ) from refusal
        if known is None or known.item is None:
            raise invalid("code", f"{named[:40]} is on no item here; bring in the gear first.")
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
        row, item, test_id, at = entry.row, entry.item, entry.id, entry.at
        wiring = find_wiring(self.db, item.wiring)
        if row.verdict is Verdict.PARTIAL:
            return NewTest(test_id, self.codes[item.id], method=row.method, note=row.words, tested_at=at)
        if row.verdict is Verdict.PASS:
            good = [names(wiring, group) for group in rebuild(wiring, []).groups]
            return NewTest(
                test_id, self.codes[item.id], method=row.method, joined=good, note=row.words, tested_at=at
            )
        found = understood(
            row.fault or row.note or "Failed, and the sheet does not say how.", wiring, row.end
        )
        groups = (
            [names(wiring, group) for group in rebuild(wiring, found.faults).groups] if found.faults else None
        )
        return NewTest(
            test_id, self.codes[item.id], method=row.method, joined=groups, evidence=found.evidence, note=row.words,
            tested_at=at,
        )  # fmt: skip

    def _repair(self, entry: TestEntry, between: bool) -> Repair | None:
        """The repair that a row tells of, or that must have been before its pass."""
        what = entry.row.repair or (BETWEEN if between else "")
        if not what or entry.row.left_out:
            return None
        first = entry.row.verdict is Verdict.PASS  # what was repaired passed afterwards
        at = (entry.logged.at if entry.logged else entry.at) + timedelta(seconds=-1 if first else 1)
        return Repair(
            id=_repair_ids(entry.id)[0], item_id=entry.item.id, end=None, what=what, length_mm=None,
            cost_cents=None, at=min(at, self.now), received_at=self.now, person_id=None,
        )  # fmt: skip

    def _title(self, entry: TestEntry) -> str:
        item = entry.item
        name = item.label or item_name(item.kind, item.length_mm, self.unit)
        return f"{self.codes[item.id]}, {name}: {entry.row.verdict} on {entry.row.on}"


def _repair_ids(test_id: UUID) -> tuple[UUID, UUID]:
    """The ids of the repair that came with a test, and of the one told after that was only concluded."""
    first = uuid5(test_id, "repair")
    return first, uuid5(first, _TOLD)


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
        words = [part for part in (row.fault if row.id is None else "", row.note) if part]
        missing = [part for part in words if folded(part) not in there]
        told += [
            f"“{part[:60]}” is not added, since a logged test is never changed; note it on the item."
            for part in missing
        ]
    return told


def _repaired_between(entries: Iterable[TestEntry]) -> Iterable[UUID]:
    """The new tests that passed after one of the same item had failed, with no repair told in between. What came of
    those that are logged already was told then, or since.
    """
    open_faults: dict[UUID, bool] = {}
    rank = {Verdict.FAIL: 0, Verdict.PARTIAL: 1, Verdict.PASS: 2}
    for entry in sorted(entries, key=lambda entry: (entry.at, rank[entry.row.verdict], entry.row.line)):
        if entry.row.left_out:
            continue
        if entry.row.verdict is Verdict.FAIL:
            open_faults[entry.item.id] = not entry.row.repair
        elif (
            entry.row.verdict is Verdict.PASS
            and open_faults.pop(entry.item.id, False)
            and not entry.row.repair
            and entry.logged is None
        ):
            yield entry.id
