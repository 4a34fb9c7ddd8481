"""A sheet of tests against the program: what becomes of each row, and then making it so.

Each test has an id that follows from what its row says, so the same sheet a second time changes nothing. A sheet has
no readings: a pass is taken as good readings, as it is when somebody taps Pass, and a fail as `core.faults` has it.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.exchange.sheets import queries
from service.exchange.sheets.core.fates import Fate, Judged
from service.exchange.sheets.core.faults import understood
from service.exchange.sheets.core.gear import is_empty
from service.exchange.sheets.core.sheet import Sheet
from service.exchange.sheets.core.tests import WORDS, TestChoices, TestRow, read_row
from service.exchange.sheets.tests_import import TestsPlan
from service.gear.core import item_name
from service.gear.queries import ItemFacts
from service.gear.wirings import find_wiring
from service.kit.codes import read_code
from service.kit.dates import parse_instant
from service.kit.lengths import Unit
from service.kit.problems import Invalid, invalid
from service.testlog.core import AHEAD_MOST, NewTest, Verdict
from service.testlog.many import Past
from service.testlog.models import Repair
from service.wiring.readings import names
from service.wiring.rebuild import rebuild

BETWEEN = "Repaired before this pass; the sheet does not say how."
_NOON = time(12)


@dataclass(frozen=True)
class TestEntry:
    """A row that becomes a test, and maybe a repair after it."""

    row: TestRow
    item: ItemFacts
    at: datetime
    new: NewTest


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
    for line in sheet.lines:
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
            self.labels[" ".join(item.label.casefold().split())].append(item.id)
        self.turns: Counter[tuple[UUID, object]] = Counter()
        self.ids: dict[UUID, int] = {}

    def judge(self, line: int, fate: Fate, title: str, *told: str) -> None:
        """Note what becomes of a row."""
        self.rows.append(Judged(line, fate, title, told))

    def take(self, row: TestRow) -> None:
        """Find out what a row becomes.

        Raises:
            Invalid: it cannot be taken.
        """
        item = self._item(row.named)
        at = self._at(row)
        test_id = row.id_of(item.id, self.turns[item.id, row.said])
        self.turns[item.id, row.said] += 1
        if test_id in self.ids:
            raise invalid("id", f"the test {test_id} is on line {self.ids[test_id]} already.")
        self.ids[test_id] = row.line
        self.entries.append(TestEntry(row, item, at, self._test(row, item, test_id, at)))

    def finish(self, repaired_between: bool) -> TestsPlan:
        """The whole plan, once every row was taken."""
        there = queries.tests_among(self.db, self.ids)
        found = TestsPlan(self.rows)
        between = (
            set(_repaired_between(entry for entry in self.entries if not entry.row.left_out))
            if repaired_between
            else set()
        )
        repairs = {entry.new.id: self._repair(entry, entry.new.id in between) for entry in self.entries}
        repaired = queries.repairs_among(self.db, [one.id for one in repairs.values() if one])
        for entry in self.entries:
            title = self._title(entry)
            if entry.new.id in there:
                self.judge(entry.row.line, Fate.SAME, title)
                continue
            if entry.row.left_out:
                self.judge(entry.row.line, Fate.SKIPPED, title, entry.row.left_out)
                continue
            repair = repairs[entry.new.id]
            found.past.append(Past(entry.item.id, test=entry.new))
            told = [
                f"Kept as what was found: {one.kind.value.replace('_', ' ')}." for one in entry.new.evidence
            ]
            if repair is not None and repair.id not in repaired:
                found.past.append(Past(entry.item.id, repair=repair))
                told.append(f"And a repair: {repair.what}")
            self.judge(entry.row.line, Fate.NEW, title, *told)
        found.rows.sort(key=lambda row: row.line)
        return found

    def _item(self, named: str) -> ItemFacts:
        """The item that a row is of, by its code, or by its label where just one has it."""
        labeled = self.labels.get(named.casefold(), [])
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

    def _test(self, row: TestRow, item: ItemFacts, test_id: UUID, at: datetime) -> NewTest:
        wiring = find_wiring(self.db, item.wiring)
        if row.verdict is Verdict.PARTIAL:
            return NewTest(test_id, self.codes[item.id], method=row.method, note=_note(row), tested_at=at)
        if row.verdict is Verdict.PASS:
            good = [names(wiring, group) for group in rebuild(wiring, []).groups]
            return NewTest(
                test_id, self.codes[item.id], method=row.method, joined=good, note=_note(row), tested_at=at
            )
        found = understood(
            row.fault or row.note or "Failed, and the sheet does not say how.", wiring, row.end
        )
        groups = (
            [names(wiring, group) for group in rebuild(wiring, found.faults).groups] if found.faults else None
        )
        return NewTest(
            test_id, self.codes[item.id], method=row.method, joined=groups, evidence=found.evidence, note=_note(row),
            tested_at=at,
        )  # fmt: skip

    def _repair(self, entry: TestEntry, between: bool) -> Repair | None:
        """The repair that a row tells of, or that must have been before its pass."""
        what = entry.row.repair or (BETWEEN if between else "")
        if not what:
            return None
        first = entry.row.verdict is Verdict.PASS  # what was repaired passed afterwards
        at = entry.at + timedelta(seconds=-1 if first else 1)
        return Repair(
            id=uuid5(entry.new.id, "repair"), item_id=entry.item.id, end=None, what=what, length_mm=None,
            cost_cents=None, at=min(at, self.now), received_at=self.now, person_id=None,
        )  # fmt: skip

    def _title(self, entry: TestEntry) -> str:
        item = entry.item
        name = item.label or item_name(item.kind, item.length_mm, self.unit)
        return f"{self.codes[item.id]}, {name}: {entry.row.verdict} on {entry.row.on}"


def _note(row: TestRow) -> str:
    """What is kept beside the test: the sheet's words of the fault, too, so that nothing is lost."""
    return "\n".join(dict.fromkeys(part for part in (row.fault, row.note) if part))[:1000]


def _repaired_between(entries: Iterable[TestEntry]) -> Iterable[UUID]:
    """The tests that passed after one of the same item had failed, with no repair told in between."""
    open_faults: dict[UUID, bool] = {}
    rank = {Verdict.FAIL: 0, Verdict.PARTIAL: 1, Verdict.PASS: 2}
    for entry in sorted(entries, key=lambda entry: (entry.at, rank[entry.row.verdict], entry.row.line)):
        if entry.row.verdict is Verdict.FAIL:
            open_faults[entry.item.id] = not entry.row.repair
        elif (
            entry.row.verdict is Verdict.PASS
            and open_faults.pop(entry.item.id, False)
            and not entry.row.repair
        ):
            yield entry.new.id
