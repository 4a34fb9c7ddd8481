"""A sheet of gear against the program: what becomes of each row, and then making it so.

A row with a known code changes that item, and an empty cell leaves what is there. A row without a code makes new
pieces, whose ids follow from what it says: the same row again makes nothing new, and a higher number makes the rest.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from service.exchange.sheets import queries
from service.exchange.sheets.core.fates import Fate, Judged
from service.exchange.sheets.core.gear import WORDS, Choices, GearRow, is_empty, read_row
from service.exchange.sheets.core.sheet import Sheet
from service.exchange.sheets.gear_import import Change, GearPlan, Piece
from service.gear import actions as gear
from service.gear.core import KINDS, USABLE, ItemState, item_name
from service.gear.queries import ItemFacts
from service.kit.lengths import Unit, format_length
from service.kit.money import format_money
from service.kit.problems import Invalid, invalid
from service.testlog.core import Fault, fault_of
from service.testlog.queries import events

PIECES_MOST = 10_000
"""New pieces that one sheet may make."""


def plan(
    db: Session, sheet: Sheet, mapping: Sequence[str], choices: Choices, today: date, unit: Unit
) -> GearPlan:
    """What becomes of each row. Nothing is written."""
    planner = _Planner(db, today, unit)
    wirings = queries.wiring_words(db)
    for line in sheet.lines:
        if is_empty(line, mapping):
            planner.judge(line.number, Fate.SKIPPED, "", "Nothing in it is imported.")
            continue
        try:
            planner.take(read_row(line, mapping, choices, wirings))
        except Invalid as refusal:
            title = next((cell.strip() for cell in line.cells if cell.strip()), "")[:60]
            told = [f"{WORDS.get(key, key)}: {why}" for key, why in refusal.errors.items()]
            planner.judge(line.number, Fate.ERROR, title, *told)
    return planner.found


class _Planner:
    """Compares rows with what is here, one after the other."""

    def __init__(self, db: Session, today: date, unit: Unit) -> None:
        self.db, self.today, self.unit = db, today, unit
        self.found = GearPlan()
        self.tags = queries.tags(db)
        self.items = queries.items(db)
        self.notes = queries.notes(db)
        self.codes = {known.item: known.code for known in self.tags.values() if known.live and known.item}
        self.alike: Counter[str] = Counter()
        self.seen: dict[str, int] = {}

    def judge(self, line: int, fate: Fate, title: str, *told: str) -> None:
        """Note what becomes of a row."""
        self.found.rows.append(Judged(line, fate, title, told))

    def take(self, row: GearRow) -> None:
        """Find out what becomes of a row.

        Raises:
            Invalid: it cannot be taken.
        """
        self._check_days(row)
        if row.code:
            if row.code in self.seen:
                raise invalid(
                    "code", f"{row.code} is on line {self.seen[row.code]} already; a code is on one piece."
                )
            self.seen[row.code] = row.line
        known = self.tags.get(row.code)
        if known is None:
            self._new(row)
        elif known.item is None:
            raise invalid(
                "code", f"{row.code} is the tag of a place. Leave the code out, and a new one is made."
            )
        elif not known.live:
            now = self.codes.get(known.item, "")
            raise invalid("code", f"the tag {row.code} was replaced by {now}. Write {now} instead.")
        else:
            self._known(row, self.items[known.item])

    def _check_days(self, row: GearRow) -> None:
        bought = row.get("bought_on")
        if bought is not None and bought > self.today:
            raise invalid("bought_on", f"{bought} is in the future; enter the day when it was bought.")

    def _new(self, row: GearRow) -> None:
        if KINDS[row.kind].has_length and not row.get("length"):
            raise invalid("length", f"a {row.kind} needs its length: 10 ft or 3 m.")
        first = self.alike[row.alike]
        self.alike[row.alike] += row.count
        if len(self.found.pieces) + row.count > PIECES_MOST:
            raise invalid(
                "count", f"with it the sheet makes more than {PIECES_MOST:,} pieces at once; cut it in two."
            )
        ids = [row.id_of(turn) for turn in range(first, first + row.count)]
        new = [item_id for item_id in ids if item_id not in self.items]
        length = row.get("length") or 0 if KINDS[row.kind].has_length else 0
        title = self._title(row.kind, length, row.get("label") or "", len(ids))
        if not new:
            codes = ", ".join(self.codes.get(item_id, "") for item_id in ids[:3])
            self.judge(
                row.line, Fate.SAME, title,
                f"Here already as {codes}{' …' if len(ids) > 3 else ''}, from the same row.",
            )  # fmt: skip
            return
        place, place_b = row.places
        facts = gear.NewItem(
            kind=row.kind, wiring=row.wiring, length_mm=length, gauge_awg=row.get("gauge_awg"),
            label=row.get("label") or "", place=place, place_b=place_b,
            batch=row.get("batch") or "", bought_on=row.get("bought_on"), price_cents=row.get("price"),
            spare=row.state is ItemState.SPARE,
        )  # fmt: skip
        notes = tuple(row.get("note") or ())
        self.found.pieces += [Piece(item_id, facts, row.code, row.state, notes) for item_id in new]
        told = [f"Wiring {row.wiring}.", *row.told]
        if row.get("length") and not length:
            told.append(f"A {row.kind} has no length here, so it is left out.")
        if len(new) < len(ids):
            told.append(f"{len(ids) - len(new)} of them are here already, from the same row.")
        self.judge(row.line, Fate.NEW, title, *told)

    def _known(self, row: GearRow, item: ItemFacts) -> None:
        self._refuse_other_kind(row, item)
        change, told = self._change(row, item)
        title = f"{row.code}, {self._title(item.kind, item.length_mm, item.label, 1)}"
        if change is None:
            self.judge(row.line, Fate.SAME, title)
            return
        self.found.changes.append(change)
        self.judge(row.line, Fate.CHANGED, title, *told, *row.told)

    def _refuse_other_kind(self, row: GearRow, item: ItemFacts) -> None:
        if row.kind_told and row.kind != item.kind:
            raise invalid(
                "kind",
                f"{row.code} is a {item.kind} here, and a {row.kind} in the sheet. Check the code; gear "
                "of another kind is new gear with a tag of its own.",
            )
        if row.wiring_exact and row.wiring != item.wiring:
            raise invalid(
                "wiring",
                f"{row.code} has the wiring {item.wiring} here, and {row.wiring} in the sheet. Its tests speak of the "
                "first; leave the cell empty, or add it as new gear.",
            )

    def _change(self, row: GearRow, item: ItemFacts) -> tuple[Change | None, list[str]]:
        told: list[str] = []
        columns = self._columns(row, item, told)
        length = row.get("length") if KINDS[item.kind].has_length else None
        if length == item.length_mm:
            length = None
        if length is not None:
            told.append(f"length: {self._length(item.length_mm)} becomes {self._length(length)}.")
        place = _moved(row, item)
        if place is not None:
            told.append(f"place: {_spans(item.place, item.place_b)} becomes {_spans(*place)}.")
        state = self._state(row, item)
        if state is not None:
            told.append(f"state: {_words(item.state)} becomes {_words(state)}.")
        notes = tuple(note for note in row.get("note") or () if note not in self.notes.get(item.id, ()))
        told += [f"note: “{note[:60]}” is added." for note in notes]
        if not told:
            return None, told
        return Change(item.id, row.code, columns, length, place, state, notes), told

    def _columns(self, row: GearRow, item: ItemFacts, told: list[str]) -> dict[str, Any]:
        columns = {}
        for key, (column, show) in _COLUMNS.items():
            value, was = row.get(key), getattr(item, column)
            if value is not None and value != was:
                columns[column] = value
                told.append(f"{WORDS[key]}: {show(was)} becomes {show(value)}.")
        return columns

    def _state(self, row: GearRow, item: ItemFacts) -> ItemState | None:
        if row.get("state") is None or row.state is item.state:
            return None
        if row.state in USABLE and item.state not in USABLE:
            fault = fault_of(events(self.db, [item.id])[item.id])
            if fault is not Fault.NONE:
                raise invalid(
                    "state",
                    f"it has an open fault here, so it is {_words(row.state)} again only after a repair and a pass.",
                )
        return row.state

    def _title(self, kind: str, length_mm: int, label: str, count: int) -> str:
        name = item_name(kind, length_mm, self.unit)
        return f"{f'{count} × ' if count > 1 else ''}{f'{label}, ' if label else ''}{name}"

    def _length(self, mm: int) -> str:
        return format_length(mm, self.unit) if mm else "nothing"


def _shown(value: object) -> str:
    return "nothing" if value in (None, "") else f"“{value}”"


def _price(cents: int | None) -> str:
    return "nothing" if cents is None else format_money(cents)


_COLUMNS: dict[str, tuple[str, Callable[[Any], str]]] = {
    "label": ("label", _shown),
    "gauge_awg": ("gauge_awg", _shown),
    "batch": ("batch", _shown),
    "bought_on": ("bought_on", _shown),
    "price": ("price_cents", _price),
}
"""What of an item a sheet may change in place: the item's column, and how its values are shown."""


def _moved(row: GearRow, item: ItemFacts) -> tuple[str, str] | None:
    """Where the item lives by the sheet, if that is elsewhere. Nothing said of end B leaves it where it is; the place
    of end A once more says that the whole item lives there.
    """
    place, place_b = row.get("place") or "", row.get("place_b")
    if not place:
        return None
    if place_b is None:
        place_b = item.place_b
    if place_b.casefold() == place.casefold():
        place_b = ""
    stays = place.casefold() == item.place.casefold() and place_b.casefold() == item.place_b.casefold()
    return None if stays else (place, place_b)


def _spans(place: str, place_b: str) -> str:
    return f"{place} to {place_b}" if place_b else place or "nowhere"


def _words(state: ItemState) -> str:
    return state.value.replace("_", " ")
