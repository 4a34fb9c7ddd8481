"""The layout of a tag on a label: flags, wraps and plates. In millimeters from the label's own corner. Pure.

A **flag** is two panels with a fold between them. The fold goes round the cable, the panels stick together back to
back, and stand off it as a flag that reads from both sides: a QR code wrapped round a microphone cable cannot be
read, a flat one can. A cable of 5.5 to 7 mm takes 17 to 22 mm round, so the fold has 22.

A **wrap** goes round the cable with its clear tail over itself. From one side a third of a turn is legible, so the
code stands three times round, every second line on its head; it has no QR.

A **plate** lies flat on a hub, on a connector's housing or at a place.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from math import pi

from service.kit.problems import invalid
from service.tags.core.boxes import Box
from service.tags.core.lettering import CAP, Font, printable, width
from service.tags.core.marks import EndMark, Mark, Symbol, ThinLine, Words, upright
from service.tags.core.sheets import EDGE, PaperSheet, mm
from service.tags.core.symbols import CannotPrint, Grid, module, refuse_on_curve

FOLD = 22.0
"""Millimeters of a flag that go round a cable of 7 mm."""
WRAP_LINES = 3
LEAST_CAP = 3.0
"""The least height in millimeters of a capital on a wrap: it is read at arm's length in poor light (common practice, no
source)."""
LEAST_NAME = 1.6
"""The height in millimeters of a capital of a name below which it is broken into two lines, if that makes it higher."""
TAIL = 5.0
"""Millimeters by which a wrap's clear tail is longer than once round the cable, so that it sticks to itself."""
USUAL_CABLE, LEAST_AROUND, MOST_AROUND = 6.5, 2.0, 100.0


class Style(StrEnum):
    """The kinds of tags."""

    FLAG = "flag"
    WRAP = "wrap"
    PLATE = "plate"


@dataclass(frozen=True)
class TagLabel:
    """What one label shows: the code, an end ("" for a place), a name, a further line, and the text of the QR.

    `channels` is a further line with the channels that the item carries, for which a flag has room too.
    """

    code: str
    name: str
    url: str
    end: str = ""
    more: str = ""
    style: Style = Style.FLAG
    channels: str = ""


def read_around(millimeters: float | None) -> float | None:
    """The thickness of what a tag goes round, in millimeters.

    Raises:
        Invalid: no cable is as thin or as thick.
    """
    if millimeters is not None and not LEAST_AROUND <= millimeters <= MOST_AROUND:
        raise invalid(
            "around",
            f"Thickness: from {LEAST_AROUND:g} to {MOST_AROUND:g} mm, not {millimeters:g}. Measure across.",
        )
    return millimeters


def lay_out(label: TagLabel, sheet: PaperSheet, symbol: Grid, around: float | None = None) -> list[Mark]:
    """The marks of a label on this sheet; `around` is the thickness in millimeters of what it goes round.

    A plate goes on something flat where `around` is None, a wrap round a cable of `USUAL_CABLE`.

    Raises:
        CannotPrint: the label is too small for this kind of tag, or what it goes round too thin for a QR.
    """
    wide, high, live = mm(sheet.label_width), mm(sheet.label_height), sheet.live
    on_side = high > wide
    if on_side:
        wide, high, live = high, wide, Box(live.y, live.x, live.height, live.width)
    more = label.channels or (label.more if label.style is Style.PLATE else "")
    texts = _Texts(label.code, label.end, printable(label.name), printable(more))
    if label.style is Style.FLAG:
        marks = _flag(wide, high, live, symbol, texts)
    elif label.style is Style.WRAP:
        marks = _wrap(wide, high, live, around or USUAL_CABLE, texts)
    else:
        marks = _panel(live, symbol, texts)
        if around is not None:
            refuse_on_curve(_side(marks), around)
    return [upright(mark, high) for mark in marks] if on_side else marks


@dataclass(frozen=True)
class _Texts:
    code: str
    end: str
    name: str
    more: str


def _flag(wide: float, high: float, live: Box, symbol: Grid, texts: _Texts) -> list[Mark]:
    panel = (wide - FOLD) / 2
    inner = panel - live.x - EDGE
    if inner < symbol.least_side or live.height < symbol.least_side:
        need = symbol.least_side
        raise CannotPrint(
            f"A flag with this address needs a label of {2 * (need + live.x + EDGE) + FOLD:.0f} x "
            f"{need + 2 * live.y:.0f} mm or more, and this one has {wide:g} x {high:g}. "
            "Choose larger labels or wraps, or use a shorter host name."
        )
    first = Box(live.x, live.y, inner, live.height)
    second = first.moved(panel + FOLD + EDGE - live.x, 0)
    middle = Box(wide / 2, 0, 0, high)
    hint_y = min(6.0, high / 3)
    hints: list[Mark] = [
        Words(Box(wide / 2 - FOLD / 2 + 0.5, hint_y, FOLD / 2 - 1, 2), "fold round", 1.3, ink=0.45),
        Words(Box(wide / 2 + 0.5, hint_y, FOLD / 2 - 1, 2), "the cable", 1.3, ink=0.45),
    ]
    return [ThinLine(middle, dashed=True), *hints, *_panel(first, symbol, texts), *_panel(second, symbol, texts)]


def _wrap(wide: float, high: float, live: Box, around: float, texts: _Texts) -> list[Mark]:
    turn, first = pi * around, live.x - EDGE
    if wide < first + 2 * turn + TAIL:
        raise CannotPrint(
            f"A wrap round a cable of {around:g} mm needs a label {first + 2 * turn + TAIL:.0f} mm long, for one turn "
            f"to print and a clear tail over it, and this one has {wide:g} mm. Choose longer labels."
        )
    step = (turn - EDGE) / WRAP_LINES
    end = f"{texts.end} " if texts.end else ""
    lines = [
        Words(
            Box(live.x + step * number, live.y, step, live.height),
            f"{end}{texts.code[:3]} {texts.code[3:]}",
            step - 2 * EDGE,
            quarter=1 if number % 2 else 3,
            narrowest=0.8,
        )
        for number in range(WRAP_LINES)
    ]
    # By the widest possible code, so that a sheet is suitable for the wraps of all items or of none.
    cap = replace(lines[0], text=f"{end}WWW WWW").size * CAP[Font.PLAIN]
    if cap < LEAST_CAP:
        raise CannotPrint(
            f"The code on a wrap would be {cap:.1f} mm high on this label, too small to read. "
            "Choose labels that are wider along the cable, or flags."
        )
    return [*lines, ThinLine(Box(first + turn, 0, 0, high), dashed=True)]


def _panel(box: Box, symbol: Grid, texts: _Texts) -> list[Mark]:
    """QR and text in a box: beside each other or one above the other, whichever leaves the QR larger."""
    beside = min(box.height, box.width - max(15.0, 0.35 * box.width))
    above = min(box.width, box.height - max(8.0, 0.25 * box.height))
    if max(beside, above) < symbol.least_side:  # a readable symbol has priority over large letters
        above = min(box.width, box.height - 5.0)
    side = max(beside, above)
    module(side, symbol)
    if beside >= above:
        square = Box(box.x, box.y + (box.height - side) / 2, side, side)
        return [Symbol(square), *_text(Box(box.x + side, box.y, box.width - side, box.height), texts)]
    square = Box(box.x + (box.width - side) / 2, box.y, side, side)
    return [Symbol(square), *_text(Box(box.x, box.y + side, box.width, box.height - side), texts)]


def _text(box: Box, texts: _Texts) -> list[Mark]:
    return _stacked(box, texts) if box.width < 2 * box.height else _in_rows(box, texts)


def _stacked(box: Box, texts: _Texts) -> list[Mark]:
    """The code in two lines of three characters with the end beside it, then the name and the further line."""
    mark = min(0.27 * box.width, 0.25 * box.height, 8.0) if texts.end else 0.0
    line, room = 0.31 * box.height, box.width - (mark + 1 if mark else 0)
    marks: list[Mark] = [
        Words(Box(box.x, box.y + line * number, room, line), part, 0.68 * line, Font.CODE)
        for number, part in enumerate((texts.code[:3], texts.code[3:]))
    ]
    if mark:
        marks.append(EndMark(Box(box.right - mark, box.y + (line - mark) / 2, mark, mark), texts.end))
    rest = Box(box.x, box.y + 2 * line + 0.5, box.width, box.height - 2 * line - 0.5)
    return marks + _lines(rest, _halves(texts.name) + _halves(texts.more))


def _in_rows(box: Box, texts: _Texts) -> list[Mark]:
    """End and code in the first row, the name and the further line below."""
    row = 0.55 * box.height
    mark = min(0.9 * row, 8.0) if texts.end else 0.0
    marks: list[Mark] = [
        Words(
            Box(box.x + mark + 1, box.y, box.width - mark - 1, row),
            f"{texts.code[:3]} {texts.code[3:]}",
            0.7 * row,
            Font.CODE,
        )
    ]
    if mark:
        marks.append(EndMark(Box(box.x, box.y + (row - mark) / 2, mark, mark), texts.end))
    rest = Box(box.x, box.y + row, box.width, box.height - row)
    return marks + _lines(rest, [part for part in (texts.name, texts.more) if part])


def _lines(box: Box, lines: list[str]) -> list[Mark]:
    """Lines of text, one below the other; lines that would be too small are broken into two."""
    parts = [part for line in lines for part in _broken(line, box.width)]
    step = min(box.height / max(len(parts), 1), 5.0)
    return [
        Words(Box(box.x, box.y + step * number, box.width, step), part, 0.6 * step) for number, part in enumerate(parts)
    ]


def _broken(line: str, room: float) -> list[str]:
    if LEAST_NAME * width(line, Font.PLAIN) / CAP[Font.PLAIN] <= room or " " not in line:
        return [line]
    spaces = [at for at, character in enumerate(line) if character == " "]
    middle = min(spaces, key=lambda at: abs(2 * at - len(line)))
    return [line[:middle], line[middle + 1 :]]


def _halves(name: str) -> list[str]:
    """A name in two lines if it has a part in parentheses, which becomes the second line."""
    first, parenthesis, rest = name.partition(" (")
    return [part for part in (first, f"({rest}" if parenthesis else "") if part.strip()]


def _side(marks: list[Mark]) -> float:
    return max(mark.box.width for mark in marks if isinstance(mark, Symbol))
