"""Forms about gear, with a sentence for each wrong field. Pages and the API use the same ones.

A length or a price without quotes in JSON has no unit, and is refused.
"""

from collections.abc import Callable
from datetime import date
from typing import Annotated, Any
from uuid import UUID

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo, WithJsonSchema, field_validator
from pydantic.config import JsonDict
from pydantic_core import PydanticCustomError

from service.gear.core import KINDS, PlaceKind
from service.kit.dates import parse_date
from service.kit.problems import Problem
from service.kit.quantities import parse_length, parse_money
from service.kit.text import can_be_shown, plain
from service.web import schema
from service.web.schema import shown_as
from service.wiring.copper import THICKEST_AWG, THINNEST_AWG

COUNT_MOST = 200
TEXT_MOST = 60
NOTE_MOST = 1000


def refused(why: str) -> PydanticCustomError:
    """A refusal of one field, with its sentence."""
    return PydanticCustomError("refused", "{why}", {"why": why})


def _reader(read: Callable[[Any], Any]) -> BeforeValidator:
    def checked(value: Any) -> Any:
        try:
            return read(value)
        except Problem as problem:
            raise refused(problem.detail) from problem

    return BeforeValidator(checked)


def _typed(parse: Callable[[str], Any], blank: Any, example: str) -> BeforeValidator:
    """A parser of text: empty text gives `blank`; other values than text are refused with the example."""

    def read(value: Any) -> Any:
        if value is None or value == blank:
            return blank
        if not isinstance(value, str):
            raise refused(f"“{value}” must be text, in quotes, like “{example}”.")
        return parse(value) if value.strip() else blank

    return _reader(read)


def _line(most: int) -> BeforeValidator:
    """A parser of one line of text with single spaces and at most `most` characters."""

    def parse(value: str) -> str:
        tidy = " ".join(value.split())
        if len(tidy) > most:
            raise refused(f"“{tidy[:20]}…” has {len(tidy)} characters; {most} are the most.")
        if not can_be_shown(tidy):
            raise refused("This text has characters that cannot be shown. Type it again.")
        return tidy

    return _typed(parse, "", "Frame 3")


def whole_number(least: int, most: int, what: str, blank: int | None = None) -> BeforeValidator:
    """A parser of a whole number from `least` to `most`; empty text gives `blank`."""

    def read(value: Any) -> int | None:
        if value is None or value == "":
            return blank
        if isinstance(value, float) and value.is_integer():  # 26.0 is a whole number in JSON
            value = int(value)
        digits = plain(value) if isinstance(value, str) else str(value)
        if isinstance(value, bool) or not digits.isascii() or not digits.isdigit() or len(digits) > 9:
            raise refused(f"“{digits[:20]}” is not {what}; enter a whole number from {least} to {most}.")
        if not least <= int(digits) <= most:
            raise refused(f"{int(digits)} is not {what}; it goes from {least} to {most}.")
        return int(digits)

    return _reader(read)


def _note(value: Any) -> str:
    text = value.strip() if isinstance(value, str) else ""
    if not text:
        raise refused("Write the note first.")
    if len(text) > NOTE_MOST:
        raise refused(f"This note has {len(text)} characters; {NOTE_MOST} are the most.")
    return text


def _place_kind(value: Any) -> PlaceKind | None:
    if value in (None, ""):
        return None
    if value not in set(PlaceKind):
        raise refused(f"“{str(value)[:20]}” is no kind of place; use one of {', '.join(PlaceKind)}.")
    return PlaceKind(value)


def _strapped(value: Any) -> bool | None:
    meanings = {None: None, "": None, True: True, False: False, "yes": True, "no": False}
    try:
        return meanings[value]
    except (KeyError, TypeError) as error:
        raise refused(f"“{str(value)[:20]}” must be true, false or null: is it strapped to the frame?") from error


_LENGTHS = "([1-9][0-9]?|[1-7][0-9]{2})([.][0-9]{1,2})? (ft|in)|([1-9][0-9]?|1[0-9]{2})([.][0-9]{1,2})? m"
_NUMBER = {"type": "integer", "minimum": THICKEST_AWG, "maximum": THINNEST_AWG}

Length = Annotated[
    int,
    _typed(parse_length, 0, "10 ft"),
    WithJsonSchema({"type": "string", "pattern": f"^({_LENGTHS})?$", "examples": ["10 ft", "3.05 m"]}),
]
Price = Annotated[
    int | None,
    _typed(parse_money, None, "18.50"),
    WithJsonSchema({"type": ["string", "null"], "pattern": "^([0-9]{1,5}([.][0-9]{2})?)?$", "examples": ["18.50"]}),
]
Day = Annotated[
    date | None,
    _typed(lambda typed: parse_date(typed, "bought_on"), None, "2026-10-06"),
    WithJsonSchema({"anyOf": [{"type": "string", **schema.DAY}, {"type": "null"}]}),
]
Gauge = Annotated[
    int | None,
    whole_number(THICKEST_AWG, THINNEST_AWG, "a wire gauge in AWG"),
    WithJsonSchema({"anyOf": [_NUMBER, {"type": "null"}]}),
]
Line = Annotated[str, _line(TEXT_MOST), shown_as({"maxLength": TEXT_MOST, **schema.TEXT})]

Kind = Annotated[PlaceKind | None, _reader(lambda value: _place_kind(value))]
Strapped = Annotated[bool | None, _reader(lambda value: _strapped(value))]
_OF_PLACES = ("place_kind", "place_b_kind", "strapped")


class ItemDetails(BaseModel):
    """The details of an item that can be changed at any time. `price` is in cents, None if it is not known."""

    label: Line = ""
    gauge_awg: Gauge = None
    batch: Line = ""
    bought_on: Day = None
    price: Price = None

    def given_fields(self) -> dict[str, Any]:
        """The values by the names of the item's columns."""
        return {
            "label": self.label,
            "gauge_awg": self.gauge_awg,
            "batch": self.batch,
            "bought_on": self.bought_on,
            "price_cents": self.price,
        }


_NEEDS: JsonDict = {
    "if": {"properties": {"kind": {"enum": [key for key, kind in KINDS.items() if kind.has_length]}}},
    "then": {"required": ["length"], "properties": {"length": {"minLength": 1}}},
    "dependentRequired": {"place_b": ["place"]},
}


class NewItems(ItemDetails):
    """`count` equal items to add. `length` is in millimeters, 0 if the kind needs none.

    `place_kind` and `place_b_kind` are the kinds of new places, None if not given; `strapped` is None if it depends on
    the kind of the place.
    """

    kind: Annotated[str, shown_as({"enum": list(KINDS)})]
    wiring: Annotated[str, Field(validate_default=True)] = ""
    length: Annotated[Length, Field(validate_default=True)] = 0
    place: Line = ""
    place_b: Line = ""
    place_kind: Kind = None
    place_b_kind: Kind = None
    strapped: Strapped = None
    spare: bool = False
    count: Annotated[
        int,
        whole_number(1, COUNT_MOST, "a number of items to add at once", 1),
        shown_as({"minimum": 1, "maximum": COUNT_MOST}),
    ] = 1

    @field_validator("kind")
    @classmethod
    def _known_kind(cls, value: str) -> str:
        if value not in KINDS:
            raise refused(f"“{value[:40]}” is no kind of gear here; choose one of {', '.join(KINDS)}.")
        return value

    @field_validator("wiring")
    @classmethod
    def _usual_wiring(cls, value: str, info: ValidationInfo) -> str:
        kind = KINDS.get(info.data.get("kind", ""))
        return value or (kind.wirings[0] if kind else "")

    @field_validator("length")
    @classmethod
    def _needed_length(cls, value: int, info: ValidationInfo) -> int:
        kind = KINDS.get(info.data.get("kind", ""))
        if kind and kind.has_length and not value:
            raise refused(f"A {kind.name} needs its length; enter it like 10 ft or 3 m.")
        return value

    @field_validator("place_b")
    @classmethod
    def _second_place(cls, value: str, info: ValidationInfo) -> str:
        return _second(value, info)

    def content(self) -> dict[str, Any]:
        """What is asked for, as its receipt keeps it."""
        return _content(self)


class NewItemsBody(NewItems):
    """Items to add over the API, with the operation id. Unknown fields are refused."""

    model_config = ConfigDict(extra="forbid", json_schema_extra=_NEEDS)

    id: UUID


def _content(new: BaseModel) -> dict[str, Any]:
    """The content of a request for its receipt. Empty fields about places are left out."""
    content = new.model_dump(mode="json", exclude={"id"})
    return {name: value for name, value in content.items() if value is not None or name not in _OF_PLACES}


class Placing(BaseModel):
    """The place of an item: none, one, or from one place to another."""

    place: Line = ""
    place_b: Line = ""
    place_kind: Kind = None
    place_b_kind: Kind = None
    strapped: Strapped = None

    @field_validator("place_b")
    @classmethod
    def _second_place(cls, value: str, info: ValidationInfo) -> str:
        return _second(value, info)

    def content(self) -> dict[str, Any]:
        """What is asked for, as its receipt keeps it."""
        return _content(self)


def _second(value: str, info: ValidationInfo) -> str:
    first = info.data.get("place")
    if value and first == "":
        raise refused("Enter where end A lives too, or leave this empty.")
    if value and value == first:
        raise refused("Both ends are at the same place: leave this empty.")
    return value


class NoteText(BaseModel):
    """A note on an item."""

    text: Annotated[str, BeforeValidator(_note), Field(validate_default=True)] = ""


class PlaceDetails(BaseModel):
    """A place by its name and kind."""

    name: Annotated[Line, Field(validate_default=True)] = ""
    kind: PlaceKind = PlaceKind.OTHER

    @field_validator("name")
    @classmethod
    def _check_name(cls, value: str) -> str:
        if not value:
            raise refused("Give the place a name, as it is called at the truck.")
        return value
