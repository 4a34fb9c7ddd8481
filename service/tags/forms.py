"""Reading what is typed about printing: which tags, how, on which sheet, by which printer."""

from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from service.kit.problems import Invalid, invalid
from service.tags.core.layout import Style, read_around
from service.tags.core.pages import Setup
from service.tags.core.printer import Printer
from service.tags.core.sheets import WORDS, PaperSheet
from service.tags.core.size_input import read_size

COUNTS = ("columns", "rows")
PRINTER_WORDS = {
    "measured_x": "Ruler across",
    "measured_y": "Ruler down",
    "right": "Too far right",
    "down": "Too far down",
}
"""The measures of a printer, by their labels."""
_Made = TypeVar("_Made")


def read_setup(sheet: str, style: str, start: str, around: str, channels: str = "") -> Setup:
    """How to print, as it was chosen; missing choices have their default values.

    Raises:
        Invalid: with a sentence for each field that is wrong.
    """
    errors: dict[str, str] = {}
    first = _tried(errors, lambda: _whole(start or "1", "start"))
    thick = _tried(errors, lambda: read_around(read_size(around, "around") / 1000 if around.strip() else None))
    if style and style not in list(Style):
        errors["style"] = "Choose one of the kinds of tags."
    if errors:
        raise Invalid(" ".join(errors.values()), errors)
    return Setup(sheet, Style(style) if style else None, first or 1, thick, channels == "yes")


def read_sheet(typed: Mapping[str, Any]) -> PaperSheet:
    """A sheet from its typed dimensions.

    Raises:
        Invalid: with a sentence for each dimension that is wrong.
    """
    return _made(PaperSheet, typed, {"radius": "0"}, list(WORDS))


def read_printer(typed: Mapping[str, Any]) -> Printer:
    """A printer from the typed measurements.

    Raises:
        Invalid: with a sentence for each measure that is wrong.
    """
    return _made(Printer, typed, {"right": "0", "down": "0"}, list(PRINTER_WORDS))


def _made(kind: Callable[..., _Made], typed: Mapping[str, Any], usual: Mapping[str, str], names: list[str]) -> _Made:
    errors: dict[str, str] = {}
    sizes = {}
    for name in names:
        text = str(typed.get(name) or usual.get(name, "")).strip()
        read = _whole if name in COUNTS else read_size
        sizes[name] = _tried(errors, lambda read=read, text=text, name=name: read(text, name))  # type: ignore[misc]
    if errors:
        raise Invalid(" ".join(errors.values()), errors)
    return kind(**sizes)


def _tried(errors: dict[str, str], read: Callable[[], _Made]) -> _Made | None:
    try:
        return read()
    except Invalid as refusal:
        errors.update(refusal.errors)
        return None


def _whole(text: str, field: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 5):
        raise invalid(field, f"“{text[:20]}” is no whole number.")
    return int(text)
