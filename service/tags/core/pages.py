"""Labels on the pages of a sheet, one after the other, beginning at a given label of the first page. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass

from service.kit.problems import invalid
from service.tags.core.layout import Style, TagLabel, lay_out
from service.tags.core.marks import Mark, Symbol
from service.tags.core.sheets import PaperSheet
from service.tags.core.symbols import grid, module


@dataclass(frozen=True)
class Placed:
    """A label on a page: its number on the sheet from 0, what it shows and the marks that show it."""

    number: int
    label: TagLabel
    marks: list[Mark]


Page = list[Placed]


@dataclass(frozen=True)
class Setup:
    """How tags are printed: on which sheet, in what style (None: flags for cables, plates for the rest), from which
    label on (1 is the first), round what thickness in millimeters, with or without the channels that items carry."""

    sheet: str = "letter"
    style: Style | None = None
    start: int = 1
    around: float | None = None
    channels: bool = False


def read_start(start: int, sheet: PaperSheet) -> int:
    """The label that printing starts at, 1 for the first.

    Raises:
        Invalid: the sheet has no such label.
    """
    if not 1 <= start <= sheet.labels:
        raise invalid("start", f"This sheet has labels 1 to {sheet.labels}, so printing cannot start at {start}.")
    return start


def pages(labels: Sequence[TagLabel], sheet: PaperSheet, start: int = 1, around: float | None = None) -> list[Page]:
    """The labels page by page; the first page starts at label `start`.

    Raises:
        Invalid: the sheet has no label `start`.
        CannotPrint: a label does not fit.
    """
    first = read_start(start, sheet) - 1
    filled: list[Page] = []
    for at, label in enumerate(labels, first):
        page, number = divmod(at, sheet.labels)
        if page == len(filled):
            filled.append([])
        filled[page].append(Placed(number, label, lay_out(label, sheet, grid(label.url), around)))
    return filled


@dataclass(frozen=True)
class SymbolFacts:
    """The QR symbols on a kind of label: version, size of one square, and side with quiet zone, in millimeters."""

    version: int
    module: float
    side: float


def symbol_facts(url: str, sheet: PaperSheet, style: Style) -> SymbolFacts | None:
    """What a symbol will be like before it is printed, None on a wrap, which has none.

    Raises:
        CannotPrint: it cannot be printed, with what to do.
    """
    symbol = grid(url)
    label = TagLabel(url[-6:], "10 ft cable", url, "A", style=style)
    sides = [mark.box.width for mark in lay_out(label, sheet, symbol) if isinstance(mark, Symbol)]
    return SymbolFacts(symbol.version, module(sides[0], symbol), sides[0]) if sides else None
