"""Planning the import of a sheet of gear: what becomes of each row.

The stages, in the order of the code below:

1. *Read*: totals, headings and notes are skipped; each other row is read cell by cell (`core.gear_row`), and the kind
   and wiring of its gear are guessed from all its words (`core.wiring_guess`). A row that is wrong, or not certainly
   gear that is known here, is refused here, with the wrong field.
2. *Check*: days, lengths, codes that occur twice, more pieces than one sheet may make.
3. *Match* all rows with items: by the code; else with the items that came from the same row before, since their ids are
   made from its content; else with the item of its label and kind, if only one is possible (`core.matching`).
4. *Decide*: each row is new, changed or the same, with facts that say why. An empty cell changes nothing.
5. *Write* the plan, in the session's transaction (`gear_write`).
"""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from sqlalchemy.orm import Session

from service.exchange.sheets import queries
from service.exchange.sheets.core.cells import folded
from service.exchange.sheets.core.gear_row import Choices, GearRow, read_row
from service.exchange.sheets.core.import_options import SheetKind, skipped_rows_of
from service.exchange.sheets.core.matching import RowMatch, UnmatchedRow, match_rows
from service.exchange.sheets.core.row_status import (
    FactKind,
    GearTitle,
    HelpKind,
    HelpPage,
    PlannedRow,
    RowFact,
    RowStatus,
    left_out,
)
from service.exchange.sheets.core.sheet import SheetRow, SheetTable
from service.exchange.sheets.core.skipped_rows import filled_down, first_cell, is_empty, lines_above, sections
from service.exchange.sheets.core.uncertain_rows import NotTaken
from service.exchange.sheets.core.wiring_guess import GuessedWiring, heading_of, refuse_merged
from service.exchange.sheets.gear_changes import Comparison, ItemChange
from service.exchange.sheets.gear_write import GearPlan, NewPiece
from service.exchange.sheets.messages import channels, short_list
from service.gear import actions as gear
from service.gear.core import KINDS, ItemState, likely_kind
from service.gear.queries import ItemFacts, places
from service.kit.problems import Invalid, invalid

PIECES_MOST = 10_000
"""The most new pieces that one sheet may make."""
_NEW_WIRING = HelpPage(HelpKind.NEW_WIRING, "/wirings/new")
_GONE = (ItemState.RETIRED, ItemState.LOST)


@dataclass(frozen=True)
class _Uncoded:
    """A row without a code, and the ids of its pieces: existing ones from the same row, and new ones."""

    row: GearRow
    ids: tuple[UUID, ...]


class _NoWiring(NotTaken):
    """No wiring of this program has as many lanes as a row gives."""

    def __init__(self, why: str) -> None:
        super().__init__("wiring", why)


def plan(db: Session, sheet: SheetTable, mapping: Sequence[str], choices: Choices, today: date) -> GearPlan:
    """What becomes of each row. Nothing is written."""
    planner = _Planner(db, today)
    for line, row in planner.read(sheet, mapping, choices):
        try:
            planner.check(row)
            if row.code:
                planner.decide_coded(row)
            else:
                planner.claim(row)
        except Invalid as refusal:
            planner.refuse_line(line, refusal)
    for group in planner.groups():
        planner.decide_group(group)
    planner.plan.rows.sort(key=lambda row: row.line)
    return planner.plan


class _Planner:
    """Runs the stages; knows the existing gear and what earlier rows have claimed."""

    def __init__(self, db: Session, today: date) -> None:
        self.today, self.offer = today, queries.offer(db)
        self.plan = GearPlan()
        self.tags, self.items = queries.tags(db), queries.items(db)
        self.compared = Comparison(db, queries.notes(db))
        self.codes = {known.item: known.code for known in self.tags.values() if known.live and known.item}
        self.places = {folded(place.name) for place in places(db)}
        self.label_at: int | None = None
        self.code_lines: dict[str, int] = {}
        self.wrong_lines: dict[str, int] = {}
        self.pieces = 0
        self.equal_pieces: Counter[str] = Counter()
        self.uncoded: list[_Uncoded] = []
        self.by_label: dict[tuple[str, str], list[ItemFacts]] = defaultdict(list)
        self.unlabeled: dict[tuple[str, str, int], list[UUID]] = defaultdict(list)
        self.claimed: set[UUID] = set()

    # 1. Read: cells, columns, the guess of kind and wiring.

    def read(self, sheet: SheetTable, mapping: Sequence[str], choices: Choices) -> list[tuple[SheetRow, GearRow]]:
        """The rows that can be read; the others are refused."""
        self.label_at = mapping.index("label") if "label" in mapping else None
        skipped = skipped_rows_of(sheet, mapping, SheetKind.GEAR) | lines_above(sheet)
        headings = sections(sheet, skipped, heading_of)
        if choices.above:
            sheet = filled_down(sheet, mapping, skipped)
        rows, merged = list[tuple[SheetRow, GearRow]](), dict[str, GuessedWiring]()
        for line in (*sheet.above, *sheet.lines):
            if (one := skipped.get(line.number)) is not None:
                self.plan.rows.append(left_out(line.number, one.status, first_cell(line), one.why))
                merged = {}  # a merged cell ends at a row that is not an entry
            elif is_empty(line, mapping):
                why = "Nothing in it is imported."
                self.plan.rows.append(left_out(line.number, RowStatus.SKIPPED, "", why))
            else:
                try:
                    row = read_row(line, mapping, choices, self.offer, headings.get(line.number, ""))
                    self._check_merged(row, merged, mapping)
                    rows.append((line, row))
                except Invalid as refusal:
                    self.refuse_line(line, refusal)
        return rows

    def _check_merged(self, row: GearRow, merged: dict[str, GuessedWiring], mapping: Sequence[str]) -> None:
        """Remember the cells for kind and wiring for the rows below, and refuse a row whose empty cell may be a part of
        a merged one.
        """
        if not row.code:
            refuse_merged(row.gear, merged, mapping)
        if "kind" not in row.gear.usual:
            merged["kind"] = row.gear
        if row.gear.has_wiring:
            merged["wiring"] = row.gear

    def refuse_line(self, line: SheetRow, refusal: Invalid) -> None:
        """Record that a row is wrong, and why. It may belong to any item with its label."""
        self._refuse(line.number, first_cell(line), refusal)
        label = "" if self.label_at is None else folded(line.cells[self.label_at])
        if label:
            self.wrong_lines.setdefault(label, line.number)

    def _refuse(self, line: int, title: str | GearTitle, refusal: Invalid) -> None:
        facts = tuple(RowFact(FactKind.REFUSED_GEAR, key, why) for key, why in refusal.errors.items())
        status = RowStatus.NOT_TAKEN if isinstance(refusal, NotTaken) else RowStatus.ERROR
        ways = (_NEW_WIRING,) if isinstance(refusal, _NoWiring) else ()
        self.plan.rows.append(PlannedRow(line, status, title, facts, ways))

    # 2. Check: what must be true for a row of any item.

    def check(self, row: GearRow) -> None:
        """Check a row whose item is not known yet.

        Raises:
            Invalid: it cannot be imported.
        """
        for key, what in (("bought_on", "it was bought"), ("in_service_on", "it came into service")):
            if (day := row.get(key)) is not None and day > self.today:
                raise invalid(key, f"{day} is in the future; enter the day when {what}.")
        if row.code:
            if row.code in self.code_lines:
                first = self.code_lines[row.code]
                raise invalid("code", f"{row.code} is on line {first} already; a code is on one piece.")
            self.code_lines[row.code] = row.line
        else:
            _check_length(row)

    def _count_pieces(self, more: int) -> None:
        if self.pieces + more > PIECES_MOST:
            raise invalid("count", f"with it the sheet makes more than {PIECES_MOST:,} pieces at once; cut it in two.")
        self.pieces += more

    def _check_lanes(self, row: GearRow) -> None:
        lanes = row.gear.lanes
        if lanes is None or row.gear.exact or row.gear.chosen:
            return
        says = channels(lanes.words, lanes.number)
        if lanes.among:
            raise NotTaken(
                "wiring",
                f"{says}, and several wirings have so many: {', '.join(lanes.among)}. Write the "
                "one that it has into a column for the wiring.",
            )
        numbers = sorted({self.offer.lanes[key] for key in KINDS[row.kind].wirings})
        raise _NoWiring(
            f"{says}, and no wiring for a {row.kind} has so many: there are such of "
            f"{' and '.join(map(str, numbers))}. Enter a wiring of your own for it and bring this sheet once more; or "
            "write the wiring that it has into a column for the wiring."
        )

    # 3. Match: to which items a row belongs.

    def claim(self, row: GearRow) -> None:
        """Claim the items that came from the same row; other pieces are matched when all rows are read."""
        first = self.equal_pieces[row.common_key]
        self.equal_pieces[row.common_key] += row.count
        ids = tuple(row.id_of(turn) for turn in range(first, first + row.count))
        self._count_pieces(sum(item_id not in self.items for item_id in ids))
        self.uncoded.append(_Uncoded(row, ids))
        self.claimed.update(item_id for item_id in ids if item_id in self.items)

    def groups(self) -> list[list[_Uncoded]]:
        """The rows without a code, grouped by label and kind."""
        groups: dict[tuple[str, str], list[_Uncoded]] = defaultdict(list)
        for one in self.uncoded:
            groups[folded(one.row.get("label") or ""), one.row.kind].append(one)
        for item in self.items.values():
            if item.label:
                self.by_label[folded(item.label), item.kind].append(item)
            elif item.id not in self.claimed:
                self.unlabeled[item.kind, item.wiring, item.length_mm].append(item.id)
        return list(groups.values())

    def decide_group(self, group: list[_Uncoded]) -> None:
        """Match the rows of one label and kind with the items of that label and kind, and decide each."""
        rows = {one.row.line: one.row for one in group}
        label = folded(group[0].row.get("label") or "")
        named = self.by_label.get((label, group[0].row.kind), [])
        wrong = self.wrong_lines.get(label)
        free = [item.id for item in named if item.id not in self.claimed]
        gone = {item.id for item in named if item.state in _GONE}
        matches = match_rows(
            [
                UnmatchedRow(one.row.line, self._new_of(one), one.row.common_key, one.row.get("state") in _GONE)
                for one in group
            ],
            free,
            gone,
            lambda want, item_id: self.compared.says_nothing_new(rows[want.line], self.items[item_id]),
            more=wrong is not None,
        )
        gone_free = [item_id for item_id in free if item_id in gone]
        new = any(self._new_of(one) > len(match.items) for one, match in zip(group, matches, strict=True))
        for one, match in zip(group, matches, strict=True):
            others = [str(line) for line in rows if line != one.row.line] if new and label else []
            try:
                self._refuse_unclear(one, match, wrong)
                self._decide_matched(one, match, gone_free, others)
            except Invalid as refusal:
                self._refuse(one.row.line, one.row.title, refusal)

    def _new_of(self, one: _Uncoded) -> int:
        return sum(item_id not in self.items for item_id in one.ids)

    def _refuse_unclear(self, one: _Uncoded, match: RowMatch, wrong: int | None) -> None:
        if not match.unclear:
            return
        label, codes = one.row.get("label"), short_list(self._codes(match.unclear))
        if wrong is not None:
            raise invalid(
                "code",
                f"it may be of {codes}, and so may line {wrong}, which is wrong. Put that line right first, or "
                "write the code of the item that is meant.",
            )
        if len(match.unclear) > 1:
            raise invalid(
                "code",
                f"{len(match.unclear)} items here are called “{label}”: {codes}. Write the code of the one that "
                "is meant; where it is one more, put those into the sheet with their codes.",
            )
        raise invalid(
            "code",
            f"several rows are called “{label}”, and here only {codes} is. Write this code in the row that is "
            "of it; the others then come in as new.",
        )

    # 4. Decide: new, changed or the same.

    def decide_coded(self, row: GearRow) -> None:
        """Decide a row with a code.

        Raises:
            Invalid: the code cannot be on gear, or its item cannot become what the row says.
        """
        known = self.tags.get(row.code)
        if known is None:
            if row.doubt is not None:
                raise row.doubt
            _check_length(row)
            self._check_lanes(row)
            self._count_pieces(1)
            self._add(row, [row.id_of(0)])
            self.plan.rows.append(PlannedRow(row.line, RowStatus.NEW, row.title, tuple(self._facts_of_new(row))))
        elif known.item is None:
            raise invalid("code", f"{row.code} is the tag of a place. Leave the code out, and a new one is made.")
        elif not known.live:
            now = self.codes.get(known.item, "")
            raise invalid("code", f"the tag {row.code} was replaced by {now}. Write {now} instead.")
        else:
            item = self.items[known.item]
            self.claimed.add(item.id)
            change, facts = self.compared.change(row, item, row.code)
            if change is not None:
                self.plan.changes.append(change)
                facts += row.facts
            status = RowStatus.SAME if change is None else RowStatus.CHANGED
            title = GearTitle(item.kind, item.length_mm, item.label, code=row.code)
            facts += self._other_lanes(row, item)
            self.plan.rows.append(PlannedRow(row.line, status, title, tuple(facts)))

    def _decide_matched(self, one: _Uncoded, match: RowMatch, gone: list[UUID], others: list[str]) -> None:
        """Decide a row without a code; `others` are the other lines with its label."""
        row = one.row
        changes, facts = self._changes_of_match(row, match)
        here = [item_id for item_id in one.ids if item_id in self.items]
        if here:
            facts.append(RowFact(FactKind.FROM_SAME_ROW, codes=self._codes(here), number=len(one.ids)))
            facts += self._other_lanes(row, self.items[here[0]])
            if len(one.ids) == 1 and not self.compared.says_nothing_new(row, self.items[here[0]]):
                facts.append(RowFact(FactKind.CHANGED_SINCE))
        new = [item_id for item_id in one.ids if item_id not in self.items][len(match.items) :]
        if new:
            self._check_lanes(row)
            facts += self._facts_of_new(row)
            if gone and not match.items:
                facts.append(RowFact(FactKind.LABEL_OF_GONE, codes=self._codes(gone)))
            like = () if row.get("label") else self.unlabeled[row.kind, row.wiring, row.length_mm]
            if like:
                facts.append(RowFact(FactKind.ALIKE_WITHOUT_LABEL, codes=self._codes(like)))
        if changes:
            facts += row.facts
        if others:
            facts.append(RowFact(FactKind.SAME_LABEL, "label", others))
        self.plan.changes += changes
        self._add(row, new)
        status = RowStatus.CHANGED if changes else RowStatus.NEW if new else RowStatus.SAME
        self.plan.rows.append(PlannedRow(row.line, status, row.title, tuple(facts)))

    def _changes_of_match(self, row: GearRow, match: RowMatch) -> tuple[list[ItemChange], list[RowFact]]:
        changes, facts = list[ItemChange](), list[RowFact]()
        for item_id in match.items:
            item = self.items[item_id]
            change, changed = self.compared.change(row, item, self.codes.get(item_id, ""))
            facts += [RowFact(FactKind.MATCHED_BY_LABEL, codes=self._codes([item_id])), *changed]
            facts += self._other_lanes(row, item)
            if row.gear.has_wiring and row.wiring != item.wiring:
                facts.append(RowFact(FactKind.WIRING_STAYS, "wiring", item.wiring))
            if change is not None:
                changes.append(change)
        return changes, facts

    def _add(self, row: GearRow, ids: Sequence[UUID]) -> None:
        place, place_b = row.places
        new = gear.NewItem(
            kind=row.kind,
            wiring=row.wiring,
            length_mm=row.length_mm,
            gauge_awg=row.get("gauge_awg"),
            label=row.get("label") or "",
            place=place,
            place_b=place_b,
            batch=row.get("batch") or "",
            bought_on=row.get("bought_on"),
            price_cents=row.get("price"),
            spare=row.state is ItemState.SPARE,
        )
        notes, since = tuple(row.get("note") or ()), row.get("in_service_on")
        self.plan.pieces += [NewPiece(item_id, new, row.code, row.state, notes, since) for item_id in ids]

    def _facts_of_new(self, row: GearRow) -> list[RowFact]:
        facts = [RowFact(FactKind.NEW_ITEM, value=(row.wiring, row.places, row.state))]
        for name in row.places:
            if name and folded(name) not in self.places:  # once for each place
                self.places.add(folded(name))
                facts.append(RowFact(FactKind.NEW_PLACE, "place", name, likely_kind(name)))
        facts += row.facts
        lanes = row.gear.lanes
        if lanes and row.gear.chosen:
            facts.append(RowFact(FactKind.WIRING_BY_LANES, "lanes", lanes.words, number=lanes.number))
        elif lanes:
            has = self.offer.lanes[row.wiring]
            facts.append(RowFact(FactKind.WIRING_NAMED, "lanes", lanes.words, has, number=lanes.number))
        if row.get("length") and not row.length_mm:
            facts.append(RowFact(FactKind.NO_LENGTH_HERE, "length", row.kind))
        return facts

    def _other_lanes(self, row: GearRow, item: ItemFacts) -> list[RowFact]:
        """The fact that an item has another number of lanes than the row says, if so."""
        lanes, has = row.gear.lanes, self.offer.lanes[item.wiring]
        if lanes is None or lanes.number == has:
            return []
        return [RowFact(FactKind.OTHER_LANES, "lanes", lanes.words, has, number=lanes.number)]

    def _codes(self, item_ids: Sequence[UUID]) -> tuple[str, ...]:
        return tuple(self.codes.get(item_id, "") for item_id in item_ids)


def _check_length(row: GearRow) -> None:
    if KINDS[row.kind].has_length and not row.length_mm:
        raise invalid("length", f"a {row.kind} needs its length: 10 ft or 3 m.")
