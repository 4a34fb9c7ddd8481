"""Drawing the marks of `service.tags.core` into a PDF, as vectors.

A page's content is written in one piece, in millimeters from the top left corner, under one matrix that also puts a
printer's errors right. A symbol is one path of whole squares under a matrix of its own; it repeats on both panels and
at both ends of an item, which compression makes next to nothing.
"""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from math import cos, pi, sin

from fpdf import FPDF
from fpdf.util import escape_parens

from service.tags.core.boxes import Box
from service.tags.core.calibration import calibration
from service.tags.core.lettering import Font
from service.tags.core.marks import EndMark, Mark, Symbol, ThinLine, Words
from service.tags.core.pages import Page, Placed
from service.tags.core.printer import Printer
from service.tags.core.sheets import PaperSheet, mm
from service.tags.core.symbols import QUIET_MODULES, Grid, grid, matrix, runs

_POINTS = 72 / 25.4
_ROUND = 0.5523
"""The length of the handles of a Bézier curve that is a quarter of a circle with radius 1."""


def sheet_pdf(pages: Sequence[Page], sheet: PaperSheet, printer: Printer) -> bytes:
    """A PDF of the pages, corrected for the printer."""
    pdf = _document(sheet, "Coilbook tags")
    for page in pages:
        _add_page(pdf, sheet, printer, _labels(page, sheet))
    return bytes(pdf.output())


def calibration_pdf(sheet: PaperSheet, printer: Printer) -> bytes:
    """A PDF of one page for measuring a printer: rulers of 100 mm in both directions, and outlines of the labels."""
    pdf = _document(sheet, "Coilbook printer check")
    _add_page(pdf, sheet, printer, [_mark(mark) for mark in calibration(sheet)] + [_outlines(sheet)])
    return bytes(pdf.output())


def _document(sheet: PaperSheet, title: str) -> FPDF:
    pdf = FPDF(unit="mm", format=(mm(sheet.width), mm(sheet.height)))
    pdf.set_title(title)
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    return pdf


def _add_page(pdf: FPDF, sheet: PaperSheet, printer: Printer, content: Iterable[str]) -> None:
    pdf.add_page()
    for font in Font:  # a blank in each font, so that the page includes the font
        pdf.set_font(font.removesuffix("B"), "B", 10)
        pdf.text(0, 0, " ")
    across, down = printer.scale
    x, y = printer.corrected(0, 0)
    corrected = (_POINTS / across, 0, 0, -_POINTS / down, x * _POINTS, (mm(sheet.height) - y) * _POINTS)
    names = {font: f"F{pdf.fonts[font].i}" for font in Font}
    drawn = "\n".join(content)
    for font, name in names.items():
        drawn = drawn.replace(f"/{font} ", f"/{name} ")
    # Whole pages are written as PDF operators: the library has no call for a matrix that applies to text and paths.
    pdf._out(f"q {_numbers(*corrected)} cm\n{drawn}\nQ")


def _labels(page: Page, sheet: PaperSheet) -> Iterable[str]:
    yield "0 g"
    for placed in page:
        box = sheet.box(placed.number)
        yield f"q 1 0 0 1 {_numbers(box.x, box.y)} cm"
        if sheet.cut:
            yield f".6 G .1 w 0 0 {_numbers(box.width, box.height)} re S 0 G"
        yield from _label(placed)
        yield "Q"


def _label(placed: Placed) -> Iterable[str]:
    for mark in placed.marks:
        yield _symbol(mark.box, placed.label.url) if isinstance(mark, Symbol) else _mark(mark)


def _mark(mark: Mark) -> str:
    if isinstance(mark, Words):
        return _words(mark)
    if isinstance(mark, EndMark):
        shape = _square(mark.box) if mark.end == "B" else _circle(mark.box)
        return f"{shape}\n{_words(mark.letter)}"
    if isinstance(mark, ThinLine):
        ends = f"{_numbers(mark.box.x, mark.box.y)} m {_numbers(mark.box.right, mark.box.bottom)} l S"
        return f"[1] 0 d .1 w {ends} [] 0 d" if mark.dashed else f".2 w {ends}"
    raise TypeError(f"a {type(mark).__name__} needs an address to draw")


def _symbol(box: Box, url: str) -> str:
    symbol = _squares(url)
    side = box.width / symbol[0].across
    left, top = box.x + QUIET_MODULES * side, box.y + QUIET_MODULES * side
    return f"q {_numbers(side, 0, 0, side, left, top)} cm {symbol[1]} f Q"


@lru_cache(maxsize=8)
def _squares(url: str) -> tuple[Grid, str]:
    """The symbol of an address as one path, its dark squares merged along each row; cached for ends A and B."""
    symbol = grid(url)
    path = " ".join(
        f"{at} {row} {length} 1 re" for row, cells in enumerate(matrix(url, symbol)) for at, length in runs(cells)
    )
    return symbol, path


def _words(words: Words) -> str:
    size, box = words.size, words.box
    angle = words.quarter * pi / 2
    along = (round(cos(angle)), -round(sin(angle)))
    up = (-round(sin(angle)), -round(cos(angle)))
    half, base, wide = words.length / 2, words.base, size * words.narrowed
    x = box.x + box.width / 2 - along[0] * half - up[0] * base
    y = box.y + box.height / 2 - along[1] * half - up[1] * base
    turned = _numbers(along[0] * wide, along[1] * wide, up[0] * size, up[1] * size, x, y)
    text = escape_parens(words.text)
    shown = f"BT /{words.font} 1 Tf {turned} Tm ({text}) Tj ET"
    return f"{words.ink:g} g {shown} 0 g" if words.ink else shown


def _square(box: Box) -> str:
    return f"{_numbers(box.x, box.y, box.width, box.height)} re f"


def _circle(box: Box) -> str:
    r, cx, cy = box.width / 2, box.x + box.width / 2, box.y + box.height / 2
    h = r * _ROUND
    quarters = (
        (cx + r, cy + h, cx + h, cy + r, cx, cy + r),
        (cx - h, cy + r, cx - r, cy + h, cx - r, cy),
        (cx - r, cy - h, cx - h, cy - r, cx, cy - r),
        (cx + h, cy - r, cx + r, cy - h, cx + r, cy),
    )
    curves = " ".join(f"{_numbers(*quarter)} c" for quarter in quarters)
    return f".35 w {_numbers(cx + r, cy)} m {curves} S"


def _outlines(sheet: PaperSheet) -> str:
    boxes = (sheet.box(number) for number in range(sheet.labels))
    drawn = " ".join(f"{_numbers(box.x, box.y, box.width, box.height)} re" for box in boxes)
    return f".6 G .1 w {drawn} S 0 G"


def _numbers(*numbers: float) -> str:
    return " ".join(f"{number:.4f}".rstrip("0").rstrip(".") for number in numbers)
