"""What a row of gear changes in an existing item: the change to write, and the facts about the row."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from service.exchange.sheets.core.gear_row import GearRow, spanned
from service.exchange.sheets.core.row_status import FactKind, RowFact
from service.gear.core import KINDS, USABLE, ItemState
from service.gear.queries import ItemFacts
from service.kit.problems import Invalid, invalid
from service.kit.text import alike
from service.testlog.core import FaultStatus, fault_of
from service.testlog.queries import events

_COLUMNS = {
    "label": "label",
    "gauge_awg": "gauge_awg",
    "batch": "batch",
    "bought_on": "bought_on",
    "in_service_on": "in_service_on",
    "price": "price_cents",
}
"""The columns of an item that a sheet may change, by field."""


@dataclass(frozen=True)
class ItemChange:
    """What changes in an existing item: columns, length, place, state, notes; None where nothing changes."""

    id: UUID
    code: str
    columns: dict[str, Any]
    length_mm: int | None = None
    place: tuple[str, str] | None = None
    state: ItemState | None = None
    notes: tuple[str, ...] = ()


class Comparison:
    """Compares rows with items; `notes` are the notes on each item."""

    def __init__(self, db: Session, notes: Mapping[UUID, Sequence[str]]) -> None:
        self.db, self.notes = db, notes

    def says_nothing_new(self, row: GearRow, item: ItemFacts) -> bool:
        """Whether everything that a row says about an item is already stored."""
        if _other_state(row, item) is not None:
            return False  # decided without looking up its tests
        try:
            return self.change(row, item, "")[0] is None
        except Invalid:
            return False

    def change(self, row: GearRow, item: ItemFacts, code: str) -> tuple[ItemChange | None, list[RowFact]]:
        """What a row changes in the item with this code (None for nothing), and a fact for each change.

        Raises:
            Invalid: the row cannot be that item, or the item cannot be changed like that.
        """
        _refuse_other_kind(row, item, code)
        columns, facts = _changed_columns(row, item)
        length = row.get("length") if KINDS[item.kind].has_length else None
        if length == item.length_mm:
            length = None
        if length is not None:
            facts.append(_becomes("length", length, item.length_mm))
        place = _moved(row, item)
        if place is not None:
            facts.append(_becomes("place", place, (item.place, item.place_b)))
        state = self._state(row, item)
        if state is not None:
            facts.append(_becomes("state", state, item.state))
        notes = tuple(note for note in row.get("note") or () if note not in self.notes.get(item.id, ()))
        facts += [RowFact(FactKind.NOTE_ADDED, "note", note) for note in notes]
        return (ItemChange(item.id, code, columns, length, place, state, notes) if facts else None), facts

    def _state(self, row: GearRow, item: ItemFacts) -> ItemState | None:
        state = _other_state(row, item)
        if state in USABLE and item.state not in USABLE:
            fault = fault_of(events(self.db, [item.id])[item.id])
            if fault is not FaultStatus.NONE:
                usable = row.state.value.replace("_", " ")
                raise invalid(
                    "state", f"it has an open fault here, so it is {usable} again only after a repair and a pass."
                )
        return state


def _becomes(field: str, value: Any, was: Any) -> RowFact:
    return RowFact(FactKind.BECOMES, field, value, was)


def _other_state(row: GearRow, item: ItemFacts) -> ItemState | None:
    """The state that a row names, if the item has another one. A spare also counts as working."""
    if row.get("state") is None or row.state is item.state or (row.works and item.state in USABLE):
        return None
    return row.state


def _refuse_other_kind(row: GearRow, item: ItemFacts, code: str) -> None:
    if row.gear.names_kind and row.kind != item.kind:
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


def _changed_columns(row: GearRow, item: ItemFacts) -> tuple[dict[str, Any], list[RowFact]]:
    columns, facts = dict[str, Any](), list[RowFact]()
    for field, column in _COLUMNS.items():
        value, was = row.get(field), getattr(item, column)
        if value is not None and value != was:
            columns[column] = value
            facts.append(_becomes(field, value, was))
    return columns, facts


def _moved(row: GearRow, item: ItemFacts) -> tuple[str, str] | None:
    """The places of the item in the sheet, if they differ. An empty place of end B leaves it unchanged; the place of
    end A repeated for end B means that the whole item is kept there.
    """
    if not row.get("place"):
        return None
    named_b = row.get("place_b")
    place, place_b = spanned(str(row.get("place")), item.place_b if named_b is None else str(named_b))
    stays = alike(place, item.place) and alike(place_b, item.place_b)
    return None if stays else (place, place_b)
