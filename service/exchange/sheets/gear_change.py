"""A row of gear against an item that is here: what changes in it, in words and as it is written."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from service.exchange.sheets.core.gear import WORDS, GearRow, spanned
from service.exchange.sheets.gear_import import ItemChange
from service.gear.core import KINDS, USABLE, ItemState
from service.gear.queries import ItemFacts
from service.kit.lengths import Unit, format_length
from service.kit.money import format_money
from service.kit.problems import Invalid, invalid
from service.kit.typed import alike
from service.testlog.core import FaultStatus, fault_of
from service.testlog.queries import events


class Comparison:
    """Compares rows with items; `notes` are those on each item, lengths are told in `unit`."""

    def __init__(self, db: Session, notes: Mapping[UUID, Sequence[str]], unit: Unit) -> None:
        self.db, self.notes, self.unit = db, notes, unit

    def says_nothing_new(self, row: GearRow, item: ItemFacts) -> bool:
        """Whether all that a row says of an item is so here."""
        if _other_state(row, item) is not None:
            return False  # told without a look at its tests
        try:
            return self.change(row, item, "")[0] is None
        except Invalid:
            return False

    def change(self, row: GearRow, item: ItemFacts, code: str) -> tuple[ItemChange | None, list[str]]:
        """What a row changes in the item with this code, None for nothing; and that in words.

        Raises:
            Invalid: it cannot be that item, or the item cannot become so.
        """
        _refuse_other_kind(row, item, code)
        told: list[str] = []
        columns = _columns(row, item, told)
        length = row.get("length") if KINDS[item.kind].has_length else None
        if length == item.length_mm:
            length = None
        if length is not None:
            told.append(f"length: {self._length(item.length_mm)} becomes {self._length(length)}.")
        place = _moved(row, item)
        if place is not None:
            told.append(f"place: {spans(item.place, item.place_b)} becomes {spans(*place)}.")
        state = self._state(row, item)
        if state is not None:
            told.append(f"state: {in_words(item.state)} becomes {in_words(state)}.")
        notes = tuple(note for note in row.get("note") or () if note not in self.notes.get(item.id, ()))
        told += [f"note: “{note[:60]}” is added." for note in notes]
        if not told:
            return None, told
        return ItemChange(item.id, code, columns, length, place, state, notes), told

    def _state(self, row: GearRow, item: ItemFacts) -> ItemState | None:
        state = _other_state(row, item)
        if state in USABLE and item.state not in USABLE:
            fault = fault_of(events(self.db, [item.id])[item.id])
            if fault is not FaultStatus.NONE:
                raise invalid(
                    "state",
                    f"it has an open fault here, so it is {in_words(row.state)} again only after a repair and a pass.",
                )
        return state

    def _length(self, mm: int) -> str:
        return format_length(mm, self.unit) if mm else "nothing"


def _other_state(row: GearRow, item: ItemFacts) -> ItemState | None:
    """The state that a row names, where the item has another. A spare works, too."""
    if row.get("state") is None or row.state is item.state or (row.works and item.state in USABLE):
        return None
    return row.state


def _refuse_other_kind(row: GearRow, item: ItemFacts, code: str) -> None:
    if row.gear.kind_told and row.kind != item.kind:
        raise invalid(
            "kind",
            f"{code} is a {item.kind} here, and a {row.kind} in the sheet. Check the code; gear "
            "of another kind is new gear with a tag of its own.",
        )
    if row.gear.exact and row.wiring != item.wiring:
        raise invalid(
            "wiring",
            f"{code} has the wiring {item.wiring} here, and {row.wiring} in the sheet. Its tests speak of the "
            "first; leave the cell empty, or give other gear a label or a code of its own.",
        )


def _columns(row: GearRow, item: ItemFacts, told: list[str]) -> dict[str, Any]:
    columns = {}
    for key, (column, show) in _COLUMNS.items():
        value, was = row.get(key), getattr(item, column)
        if value is not None and value != was:
            columns[column] = value
            told.append(f"{WORDS[key]}: {show(was)} becomes {show(value)}.")
    return columns


def _shown(value: object) -> str:
    return "nothing" if value in (None, "") else f"“{value}”"


def _price(cents: int | None) -> str:
    return "nothing" if cents is None else format_money(cents)


_COLUMNS: dict[str, tuple[str, Callable[[Any], str]]] = {
    "label": ("label", _shown),
    "gauge_awg": ("gauge_awg", _shown),
    "batch": ("batch", _shown),
    "bought_on": ("bought_on", _shown),
    "in_service_on": ("in_service_on", _shown),
    "price": ("price_cents", _price),
}
"""What of an item a sheet may change in place: the item's column, and how its values are shown."""


def _moved(row: GearRow, item: ItemFacts) -> tuple[str, str] | None:
    """Where the item lives by the sheet, if that is elsewhere. Nothing said of end B leaves it where it is; the place
    of end A once more says that the whole item lives there.
    """
    if not row.get("place"):
        return None
    told_b = row.get("place_b")
    place, place_b = spanned(str(row.get("place")), item.place_b if told_b is None else str(told_b))
    stays = alike(place, item.place) and alike(place_b, item.place_b)
    return None if stays else (place, place_b)


def spans(place: str, place_b: str) -> str:
    """Where an item lives, in words."""
    return f"{place} to {place_b}" if place_b else place or "nowhere"


def in_words(state: ItemState) -> str:
    """A state in words."""
    return state.value.replace("_", " ")
