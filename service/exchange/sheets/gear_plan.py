"""A sheet of gear against the program: what becomes of each row, and then making it so.

A row with a known code changes that item, and an empty cell leaves what is there. A row without a code is of the items
that came from the same row before; else of the one item that has its label and kind, where just one can be meant
(`core.meant`); else it makes new pieces, whose ids follow from what it says. So the same sheet again makes nothing new.
"""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from sqlalchemy.orm import Session

from service.exchange.sheets import queries
from service.exchange.sheets.core.asides import Aside, above, filled_down, sections
from service.exchange.sheets.core.cells import folded
from service.exchange.sheets.core.doubts import NotTaken
from service.exchange.sheets.core.gear import WORDS, Choices, GearRow, is_empty, read_row
from service.exchange.sheets.core.matching import RowMatch, Wanted, match_row
from service.exchange.sheets.core.request import SheetKind, asides_of
from service.exchange.sheets.core.row_status import Fate, RowStatus, Ways
from service.exchange.sheets.core.sheet import SheetRow, SheetTable
from service.exchange.sheets.core.telling import first_cell, new_place, same_label
from service.exchange.sheets.core.wiring_guess import GuessedWiring, WiringOffer, heading_of, refuse_merged
from service.exchange.sheets.gear_change import Comparison, in_words, spans
from service.exchange.sheets.gear_import import GearPlan, NewPiece
from service.gear import actions as gear
from service.gear.core import KINDS, ItemState, item_name
from service.gear.queries import ItemFacts, places
from service.kit.lengths import Unit
from service.kit.problems import Invalid, invalid

PIECES_MOST = 10_000
"""New pieces that one sheet may make."""
_NEW_WIRING: Ways = (("/wirings/new", "Enter a wiring of your own"),)
_GONE = (ItemState.RETIRED, ItemState.LOST)


def plan(db: Session, sheet: SheetTable, mapping: Sequence[str], choices: Choices, today: date, unit: Unit) -> GearPlan:
    """What becomes of each row. Nothing is written."""
    offer = queries.offer(db)
    planner = _Planner(db, today, unit, offer)
    labels = mapping.index("label") if "label" in mapping else None
    aside = asides_of(sheet, mapping, SheetKind.GEAR) | above(sheet)
    headings = sections(sheet, aside, heading_of)
    if choices.above:
        sheet = filled_down(sheet, mapping, aside)
    for line in (*sheet.above, *sheet.lines):
        if line.number in aside:
            planner.pass_over(line, aside[line.number])
            continue
        if is_empty(line, mapping):
            planner.judge(line.number, Fate.SKIPPED, "", "Nothing in it is imported.")
            continue
        try:
            row = read_row(line, mapping, choices, offer, headings.get(line.number, ""))
            planner.refuse_merged(row, mapping)
            planner.take(row)
        except Invalid as refusal:
            planner.refuse(line, refusal, "" if labels is None else line.cells[labels])
    return planner.finish()


class _NoWiring(NotTaken):
    """No wiring here has as many lanes as a row tells of."""

    def __init__(self, why: str) -> None:
        super().__init__("wiring", why)


@dataclass(frozen=True)
class _Uncoded:
    """A row without a code, and the ids of its pieces: of those from the same row, and else of new ones."""

    row: GearRow
    ids: tuple[UUID, ...]
    title: str


class _Planner:
    """Compares rows with what is here, one after the other."""

    def __init__(self, db: Session, today: date, unit: Unit, offer: WiringOffer) -> None:
        self.today, self.unit, self.offer = today, unit, offer
        self.found = GearPlan()
        self.tags = queries.tags(db)
        self.items = queries.items(db)
        self.compared = Comparison(db, queries.notes(db), unit)
        self.codes = {known.item: known.code for known in self.tags.values() if known.live and known.item}
        self.alike: Counter[str] = Counter()
        self.seen: dict[str, int] = {}
        self.uncoded: list[_Uncoded] = []
        self.spoken_for: set[UUID] = set()
        self.unlabeled: dict[tuple[str, str, int], list[UUID]] = defaultdict(list)
        self.wrong: dict[str, int] = {}
        self.pieces = 0
        self.above: dict[str, GuessedWiring] = {}
        self.places = {folded(place.name) for place in places(db)}

    def judge(self, line: int, fate: Fate, title: str, *told: str, ways: Ways = ()) -> None:
        """Note what becomes of a row."""
        self.found.rows.append(RowStatus(line, fate, title, told, ways))

    def pass_over(self, line: SheetRow, aside: Aside) -> None:
        """Note that a row is no entry; what a merged cell says ends there."""
        self.judge(line.number, aside.fate, first_cell(line), aside.why)
        self.above = {}

    def refuse_merged(self, row: GearRow, mapping: Sequence[str]) -> None:
        """Keep what the cells for kind and wiring say, and refuse a row that may mean the same without saying it.

        Raises:
            NotTaken: it may.
        """
        if not row.code:
            refuse_merged(row.gear, self.above, mapping)
        if "kind" not in row.gear.usual:
            self.above["kind"] = row.gear
        if row.gear.told:
            self.above["wiring"] = row.gear

    def refuse(self, line: SheetRow, refusal: Invalid, label: str) -> None:
        """Note that a row is wrong, and why. It may be of any item that has its label."""
        self._judge_wrong(line.number, first_cell(line), refusal)
        if label.strip():
            self.wrong.setdefault(folded(label), line.number)

    def _judge_wrong(self, line: int, title: str, refusal: Invalid) -> None:
        told = [f"{WORDS.get(key, key)}: {why}" for key, why in refusal.errors.items()]
        fate = Fate.NOT_TAKEN if isinstance(refusal, NotTaken) else Fate.ERROR
        self.judge(line, fate, title, *told, ways=_NEW_WIRING if isinstance(refusal, _NoWiring) else ())

    def take(self, row: GearRow) -> None:
        """Find out what becomes of a row.

        Raises:
            Invalid: it cannot be taken.
        """
        self._check_days(row)
        if row.code:
            if row.code in self.seen:
                raise invalid("code", f"{row.code} is on line {self.seen[row.code]} already; a code is on one piece.")
            self.seen[row.code] = row.line
            self._coded(row)
        else:
            self._uncoded(row)

    def _coded(self, row: GearRow) -> None:
        known = self.tags.get(row.code)
        if known is None:
            if row.doubt is not None:
                raise row.doubt
            self._check_length(row)
            self._check_lanes(row)
            self._refuse_too_many(1)
            self.pieces += 1
            self._add(row, [row.id_of(0)])
            self.judge(row.line, Fate.NEW, self._title_of(row), *self._told_of_new(row))
        elif known.item is None:
            raise invalid("code", f"{row.code} is the tag of a place. Leave the code out, and a new one is made.")
        elif not known.live:
            now = self.codes.get(known.item, "")
            raise invalid("code", f"the tag {row.code} was replaced by {now}. Write {now} instead.")
        else:
            item = self.items[known.item]
            self.spoken_for.add(item.id)
            change, told = self.compared.change(row, item, row.code)
            if change is not None:
                self.found.changes.append(change)
                told += row.told
            told += self._other_lanes(row, item)
            fate = Fate.SAME if change is None else Fate.CHANGED
            self.judge(row.line, fate, f"{row.code}, {self._title(item.kind, item.length_mm, item.label, 1)}", *told)

    def _check_days(self, row: GearRow) -> None:
        for key, what in (("bought_on", "it was bought"), ("in_service_on", "it came into service")):
            if (day := row.get(key)) is not None and day > self.today:
                raise invalid(key, f"{day} is in the future; enter the day when {what}.")

    def _uncoded(self, row: GearRow) -> None:
        self._check_length(row)
        first = self.alike[row.alike]
        self.alike[row.alike] += row.count
        ids = tuple(row.id_of(turn) for turn in range(first, first + row.count))
        new = [item_id for item_id in ids if item_id not in self.items]
        self._refuse_too_many(len(new))
        self.pieces += len(new)
        self.uncoded.append(_Uncoded(row, ids, self._title_of(row)))
        self.spoken_for.update(item_id for item_id in ids if item_id in self.items)

    def _check_length(self, row: GearRow) -> None:
        if KINDS[row.kind].has_length and not row.get("length"):
            raise invalid("length", f"a {row.kind} needs its length: 10 ft or 3 m.")

    def _check_lanes(self, row: GearRow) -> None:
        lanes = row.gear.lanes
        if lanes is None or row.gear.exact or row.gear.chosen:
            return
        if lanes.among:
            raise NotTaken(
                "wiring",
                f"{lanes.in_words}, and several wirings have so many: {', '.join(lanes.among)}. Write the "
                "one that it has into a column for the wiring.",
            )
        numbers = sorted({self.offer.lanes[key] for key in KINDS[row.kind].wirings})
        raise _NoWiring(
            f"{lanes.in_words}, and no wiring for a {row.kind} has so many: there are such of "
            f"{' and '.join(map(str, numbers))}. Enter a wiring of your own for it and bring this sheet once more; or "
            "write the wiring that it has into a column for the wiring."
        )

    def _other_lanes(self, row: GearRow, item: ItemFacts) -> list[str]:
        """That an item has other lanes here than a row says, if so."""
        lanes, has = row.gear.lanes, self.offer.lanes[item.wiring]
        if lanes is None or lanes.number == has:
            return []
        return [f"{lanes.in_words}, and here it has {has} lanes."]

    def _refuse_too_many(self, more: int) -> None:
        if self.pieces + more > PIECES_MOST:
            raise invalid("count", f"with it the sheet makes more than {PIECES_MOST:,} pieces at once; cut it in two.")

    def finish(self) -> GearPlan:
        """The whole plan, once every row was taken: only then is it known which items the rows with a code, and those
        that came before, speak of, so that the others cannot mean them.
        """
        by_name: dict[tuple[str, str], list[ItemFacts]] = defaultdict(list)
        for item in self.items.values():
            by_name[folded(item.label), item.kind].append(item)
            if not item.label and item.id not in self.spoken_for:
                self.unlabeled[item.kind, item.wiring, item.length_mm].append(item.id)
        groups: dict[tuple[str, str], list[_Uncoded]] = defaultdict(list)
        for one in self.uncoded:
            groups[folded(one.row.get("label") or ""), one.row.kind].append(one)
        for name, group in groups.items():
            self._finish_group(group, by_name.get(name, []) if name[0] else [], self.wrong.get(name[0]))
        self.found.rows.sort(key=lambda row: row.line)
        return self.found

    def _finish_group(self, group: list[_Uncoded], named: list[ItemFacts], wrong: int | None) -> None:
        """Find out what becomes of rows of one label and kind."""
        free = [item.id for item in named if item.id not in self.spoken_for]
        gone = {item.id for item in named if item.state in _GONE}
        rows = {one.row.line: one.row for one in group}
        wanted = [
            Wanted(
                one.row.line,
                sum(item_id not in self.items for item_id in one.ids),
                one.row.alike,
                one.row.get("state") in _GONE,
            )
            for one in group
        ]
        found = match_row(
            wanted,
            free,
            gone,
            lambda want, item_id: self.compared.says_nothing_new(rows[want.line], self.items[item_id]),
            more=wrong is not None,
        )
        gone_free = [item_id for item_id in free if item_id in gone]
        new = any(want.count > len(what.items) for want, what in zip(wanted, found, strict=True))
        for one, what in zip(group, found, strict=True):
            try:
                self._refuse_unclear(one, what, wrong)
                self._take_match(
                    one,
                    what,
                    gone_free,
                    same_label(one.row.line, one.row.get("label"), list(rows)) if new else (),
                )
            except Invalid as refusal:
                self._judge_wrong(one.row.line, one.title, refusal)

    def _refuse_unclear(self, one: _Uncoded, what: RowMatch, wrong: int | None) -> None:
        if not what.unclear:
            return
        label, codes = one.row.get("label"), self._codes(what.unclear)
        if wrong is not None:
            raise invalid(
                "code",
                f"it may be of {codes}, and so may line {wrong}, which is wrong. Put that line right first, or "
                "write the code of the item that is meant.",
            )
        if len(what.unclear) > 1:
            raise invalid(
                "code",
                f"{len(what.unclear)} items here are called “{label}”: {codes}. Write the code of the one that "
                "is meant; where it is one more, put those into the sheet with their codes.",
            )
        raise invalid(
            "code",
            f"several rows are called “{label}”, and here only {codes} is. Write this code in the row that is "
            "of it; the others then come in as new.",
        )

    def _take_match(self, one: _Uncoded, what: RowMatch, gone: list[UUID], more: Sequence[str]) -> None:
        """Note what becomes of a row, now that it is known of which items it is; `more` is told of it, too."""
        row = one.row
        changes, told = [], []
        here = [item_id for item_id in one.ids if item_id in self.items]
        for item_id in what.items:
            code, item = self.codes.get(item_id, ""), self.items[item_id]
            change, changed = self.compared.change(row, item, code)
            told += [f"Taken as {code}, by its label.", *changed, *self._other_lanes(row, item)]
            if row.gear.told and row.wiring != item.wiring:
                told.append(f"The wiring stays {item.wiring}.")
            if change is not None:
                changes.append(change)
        if here:
            count = f"{len(here)} of them are here" if len(one.ids) > 1 and len(here) < len(one.ids) else "Here"
            told.append(f"{count} already as {self._codes(here)}, from the same row.")
            told += self._other_lanes(row, self.items[here[0]])
            if len(one.ids) == 1 and not self.compared.says_nothing_new(row, self.items[here[0]]):
                told.append("What was changed here since stays; write the code to have it as the sheet says.")
        new = [item_id for item_id in one.ids if item_id not in self.items][len(what.items) :]
        if new:
            self._check_lanes(row)
            told += self._told_of_new(row)
            if gone and not what.items:
                told.append(
                    f"{self._codes(gone)} of this label is gone, so this is new; write the code if it is that one."
                )
            like = () if row.get("label") else self.unlabeled[row.kind, row.wiring, self._length_of(row)]
            if like:
                told.append(
                    f"{len(like)} like it without a label {'is' if len(like) == 1 else 'are'} here already: "
                    f"{self._codes(like)}. Write the code if it is one of those."
                )
        if changes:
            told += row.told
        told += more
        self.found.changes += changes
        self._add(row, new)
        fate = Fate.CHANGED if changes else Fate.NEW if new else Fate.SAME
        self.judge(row.line, fate, one.title, *told)

    def _add(self, row: GearRow, ids: Sequence[UUID]) -> None:
        place, place_b = row.places
        facts = gear.NewItem(
            kind=row.kind,
            wiring=row.wiring,
            length_mm=self._length_of(row),
            gauge_awg=row.get("gauge_awg"),
            label=row.get("label") or "",
            place=place,
            place_b=place_b,
            batch=row.get("batch") or "",
            bought_on=row.get("bought_on"),
            price_cents=row.get("price"),
            spare=row.state is ItemState.SPARE,
        )
        notes = tuple(row.get("note") or ())
        self.found.pieces += [
            NewPiece(item_id, facts, row.code, row.state, notes, row.get("in_service_on")) for item_id in ids
        ]

    def _told_of_new(self, row: GearRow) -> list[str]:
        where = f"at {spans(*row.places)}" if any(row.places) else "at no place yet"
        told = [
            f"Wiring {row.wiring}, {where}, {in_words(row.state)}.",
            *self._told_of_places(row),
            *row.told,
        ]
        if row.gear.lanes and row.gear.chosen:
            told.append(f"{row.gear.lanes.in_words}, so its wiring is the one of that many here.")
        elif row.gear.lanes:
            has = self.offer.lanes[row.wiring]
            told.append(f"{row.gear.lanes.in_words}; the wiring that is named has {has} lanes.")
        if row.get("length") and not self._length_of(row):
            told.append(f"A {row.kind} has no length here, so it is left out.")
        return told

    def _told_of_places(self, row: GearRow) -> list[str]:
        """What each place becomes that is new, once."""
        told = []
        for name in row.places:
            if name and folded(name) not in self.places:
                self.places.add(folded(name))
                told.append(new_place(name))
        return told

    def _length_of(self, row: GearRow) -> int:
        return row.get("length") or 0 if KINDS[row.kind].has_length else 0

    def _codes(self, item_ids: Sequence[UUID]) -> str:
        codes = ", ".join(self.codes.get(item_id, "") for item_id in item_ids[:3])
        return f"{codes} …" if len(item_ids) > 3 else codes

    def _title_of(self, row: GearRow) -> str:
        return self._title(row.kind, self._length_of(row), row.get("label") or "", row.count)

    def _title(self, kind: str, length_mm: int, label: str, count: int) -> str:
        name = item_name(kind, length_mm, self.unit)
        return f"{f'{count} × ' if count > 1 else ''}{f'{label}, ' if label else ''}{name}"
