"""Reading a row of a sheet of gear: its values, or what is wrong with it. Pure."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5

from service.exchange.sheets.core import cells
from service.exchange.sheets.core.days import Order, read_day
from service.exchange.sheets.core.row_status import FactKind, GearTitle, RowFact
from service.exchange.sheets.core.sheet import SheetRow
from service.exchange.sheets.core.states import StateCell, is_gone, read_state
from service.exchange.sheets.core.uncertain_rows import TELLING, NotTaken, refuse_several
from service.exchange.sheets.core.wiring_guess import GuessedWiring, WiringOffer, guess_wiring, with_heading
from service.gear.core import KINDS, USUAL_KIND, ItemState
from service.kit.codes import read_code
from service.kit.problems import Invalid, Problem, invalid
from service.kit.quantities import Unit
from service.kit.text import alike

_IDS = uuid5(NAMESPACE_URL, "coilbook:sheets:gear")
_NONE = re.compile(r"0+(?:[.,]0+)?")


@dataclass(frozen=True)
class Choices:
    """How to read a sheet of gear: the unit of bare lengths, which number of a date comes first, the kind of gear of
    rows that name none (empty: such rows stay out), the `measure` in the name of the column of lengths, and whether an
    empty cell for the place means the place `above` it.
    """

    unit: Unit | None = None
    order: Order | None = None
    kind: str = USUAL_KIND
    measure: str = ""
    above: bool = False


@dataclass(frozen=True)
class GearRow:
    """The values of a row. A value without a column, or with an empty cell, is None (a text: empty).

    `works` marks a state that says only that the gear can be used. `facts` are interpretations that people should see.
    `doubt` is why a row with a code may be no gear that is known here; it counts only if the gear is new.
    """

    line: int
    values: Mapping[str, Any]
    gear: GuessedWiring
    works: bool = False
    facts: tuple[RowFact, ...] = ()
    doubt: NotTaken | None = None

    @property
    def kind(self) -> str:
        """The kind of gear."""
        return self.gear.kind

    @property
    def wiring(self) -> str:
        """The key of its wiring."""
        return self.gear.wiring

    def get(self, key: str) -> Any:
        """The value of a column; None if it has none."""
        return self.values.get(key)

    @property
    def code(self) -> str:
        """The code of the tag; empty if there is none yet."""
        return str(self.values.get("code", ""))

    @property
    def count(self) -> int:
        """The number of pieces of the row."""
        return int(self.values.get("count", 1))

    @property
    def length_mm(self) -> int:
        """Its length in millimeters; 0 if none is given or its kind has none."""
        return int(self.values.get("length", 0)) if KINDS[self.kind].has_length else 0

    @property
    def title(self) -> GearTitle:
        """Its title in a dry run."""
        return GearTitle(self.kind, self.length_mm, self.get("label") or "", self.count)

    @property
    def state(self) -> ItemState:
        """The state that it names; in service if it names none."""
        return ItemState(self.values.get("state", ItemState.IN_SERVICE))

    @property
    def places(self) -> tuple[str, str]:
        """The places of end A and of end B of new pieces; the latter is empty if it is the same or not given."""
        return spanned(str(self.get("place") or ""), str(self.get("place_b") or ""))

    def id_of(self, turn: int) -> UUID:
        """The id of the piece with the code, or of the `turn`-th of equal pieces. The same row always gives the same
        ids.
        """
        if self.code:
            return uuid5(_IDS, self.code)
        content = sorted((key, str(value)) for key, value in self.values.items() if key != "count")
        return uuid5(_IDS, repr([self.kind, self.wiring, content, turn]))

    @property
    def common_key(self) -> str:
        """The key that rows of equal pieces share."""
        return str(self.id_of(0))


def spanned(place: str, place_b: str) -> tuple[str, str]:
    """The places of end A and of end B; the latter is empty if both are the same."""
    return place, "" if alike(place_b, place) else place_b


def read_row(
    line: SheetRow, mapping: Sequence[str], choices: Choices, offer: WiringOffer, heading: str = ""
) -> GearRow:
    """The values of a row. `offer` has the wirings of this program, `heading` is the heading of its part of the sheet.

    Raises:
        NotTaken: it is not certain that it is gear that is known here.
        Invalid: with a sentence for each wrong field.
    """
    typed = with_heading(_typed(line, mapping), heading)
    values, errors, facts = dict[str, Any](), dict[str, str](), list[RowFact]()
    state_cell = _read_cells(typed, choices, values, errors, facts)
    _note_state(state_cell, values, facts)
    gear, doubt = _gear(typed, choices, offer, values.get("count"), errors)
    if gear.kind and not KINDS[gear.kind].has_length:
        errors.pop("length", None)  # gear of this kind has no such value
    _take_words(gear.kind, typed, values, facts)
    _check_together(values, gear.kind, typed, errors)
    if errors:
        raise Invalid(" ".join(errors.values()), errors)
    return GearRow(line.number, values, gear, state_cell.works, tuple(facts), doubt)


def _typed(line: SheetRow, mapping: Sequence[str]) -> dict[str, str]:
    """The cells with a value, by field. A kind that nobody knows must not be invented."""
    typed = {
        key: cell
        for cell, key in zip(line.cells, mapping, strict=True)
        if key and cell.strip()
        if not cells.is_nothing(cell) or (key in ("kind", "wiring", "lanes") and cells.is_unknown(cell))
    }
    for key, cell in typed.items():
        cells.refuse_broken_formula(cell, key)
        cells.refuse_ditto(cell, key)
    return typed


def _read_cells(
    typed: Mapping[str, str],
    choices: Choices,
    values: dict[str, Any],
    errors: dict[str, str],
    facts: list[RowFact],
) -> StateCell:
    """Read each cell by itself, and return what the cell for the state says."""
    state_cell = StateCell(None)
    for key, cell in typed.items():
        try:
            if key in _READERS:
                values[key] = _READERS[key](cell)
            elif key == "length":
                values[key] = cells.read_length(cell, choices.unit, choices.measure)
            elif key in _DAYS:
                values[key] = _day(cell, choices.order, key, facts)
            elif key == "state":
                state_cell = read_state(cell)
        except Problem as problem:
            errors[key] = problem.detail
    return state_cell


def _gear(
    typed: Mapping[str, str], choices: Choices, offer: WiringOffer, count: int | None, errors: dict[str, str]
) -> tuple[GuessedWiring, NotTaken | None]:
    """The gear of a row, and, for a row with a code, why it would be doubtful if the tag is on no item yet.

    Raises:
        NotTaken: it is not certain that it is gear that is known here.
    """
    if _NONE.fullmatch(typed.get("count", "").strip()):
        raise NotTaken("count", "it says that there are none of it.")
    doubt = None
    if "code" in typed:
        try:
            guess_wiring({key: cell for key, cell in typed.items() if key != "code"}, choices.kind, offer)
        except NotTaken as refusal:
            doubt = refusal
        except Invalid:
            pass  # refused below
    if "count" not in errors:
        refuse_several(typed, count)
    try:
        return guess_wiring(typed, choices.kind, offer), doubt
    except NotTaken:
        raise
    except Invalid as refusal:
        errors |= refusal.errors
        return GuessedWiring(), doubt


_READERS: Mapping[str, Callable[[str], Any]] = {
    "code": read_code,
    "label": lambda cell: cells.read_line(cell, "label"),
    "place": lambda cell: _place(cell, "place"),
    "place_b": lambda cell: _place(cell, "place_b"),
    "batch": lambda cell: cells.read_line(cell, "batch"),
    "description": lambda cell: _notes(cell),
    "note": lambda cell: _notes(cell),
    "gauge_awg": cells.read_gauge,
    "price": cells.read_money,
    "count": cells.read_count,
}


def _place(cell: str, field: str) -> str:
    name = cells.read_line(cell, field)
    if is_gone(name):
        raise invalid(
            field,
            f"“{name}” is where nothing is kept. Write retired or lost into a column for the state, and empty this.",
        )
    if cells.is_length(name):
        raise invalid(
            field,
            f"“{name}” is a length. Is a comma inside a cell before it? Put that cell into quotation marks, or choose "
            "another column for the place.",
        )
    return name


def _notes(cell: str) -> tuple[str, ...]:
    """A note on each line of a cell."""
    return tuple(cells.read_line(line, "note", cells.NOTE_MOST) for line in cell.splitlines() if line.strip())


def _take_words(kind: str, typed: Mapping[str, str], values: dict[str, Any], facts: list[RowFact]) -> None:
    """Keep a description as a note, and take the length of a new piece from its words if it has no other."""
    if "description" in values:
        values["note"] = (*values.pop("description"), *values.get("note", ()))
    if kind and KINDS[kind].has_length and {"code", "length"}.isdisjoint(typed):
        words = (typed[key] for key in TELLING if key in typed)
        length = next(filter(None, map(cells.length_in, words)), None)
        if length:
            values["length"] = length[0]
            facts.append(RowFact(FactKind.TAKEN_AS_LENGTH, "length", length[1]))


def _note_state(state_cell: StateCell, values: dict[str, Any], facts: list[RowFact]) -> None:
    """Keep the state that a row names; words about how the item looks become a note."""
    if state_cell.state is not None:
        values["state"] = state_cell.state
    if state_cell.condition:
        values["note"] = (*values.get("note", ()), f"Condition: {state_cell.condition}")
        facts.append(RowFact(FactKind.CONDITION, "state", state_cell.condition))


_DAYS = ("bought_on", "in_service_on")
"""The columns of days."""


def _day(cell: str, order: Order | None, key: str, facts: list[RowFact]) -> date:
    day = read_day(cell, order, key)
    if not day.exact:
        facts.append(RowFact(FactKind.TAKEN_AS_DAY, key, day.on, " ".join(cell.split())))
    elif day.counted:
        facts.append(RowFact(FactKind.DAY_NUMBER, key, day.on, cell.strip()))
    return day.on


def _check_together(values: Mapping[str, Any], kind: str, typed: Mapping[str, str], errors: dict[str, str]) -> None:
    """Check that the values of a new item fit together; a row with a code may leave out what is known."""
    if kind and "code" not in typed and KINDS[kind].has_length and not {"length"} & {*typed, *values}:
        errors["length"] = f"a {kind} needs its length: 10 ft or 3 m."
    if "code" in typed and values.get("count", 1) > 1:
        errors["count"] = "a code is on one piece; leave the number out, or the code."
    if "place_b" in typed and "place" not in typed:
        errors["place_b"] = "enter where end A lives too."
