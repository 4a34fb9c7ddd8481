"""Drawing tags into a PDF, in vectors: what `service.tags.core` places, put on paper."""

from collections.abc import Iterable, Sequence
from itertools import groupby

from fpdf import FPDF
from qrcode import QRCode
from qrcode.constants import ERROR_CORRECT_Q
from qrcode.util import QRData

from service.tags.core import QUIET_MODULES, Box, Face, Label, Sheet, faces, fold, module

_CAP = 0.7
"""Height of a capital as a share of the type size, in the fonts that every PDF reader has."""
_POINT = 25.4 / 72
_OVERLAP = 0.005  # so that no hairline shows between the rows of a symbol


def sheet_pdf(labels: Sequence[Label], sheet: Sheet) -> bytes:
    """A PDF with a tag for each end of each item, in the order given."""
    pdf = FPDF(unit="mm", format=(sheet.width, sheet.height))
    pdf.set_title("Coilbook tags")
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    for number, label in enumerate(labels):
        row = number % sheet.rows
        if row == 0:
            pdf.add_page()
        symbol = _symbol(label.url)
        for column, end in enumerate("AB"):
            _tag(pdf, sheet.box(row, column), label, end, symbol)
    return bytes(pdf.output())


def _symbol(url: str) -> list[list[bool]]:
    # Level Q: on a worn tag it is read twice as often as M, and H needs a finer grid.
    code = QRCode(error_correction=ERROR_CORRECT_Q, border=0)
    code.add_data(QRData(url))
    code.make(fit=True)
    return code.get_matrix()


def _tag(pdf: FPDF, box: Box, label: Label, end: str, symbol: list[list[bool]]) -> None:
    pdf.set_draw_color(150)
    pdf.set_line_width(0.1)
    pdf.rect(box.x, box.y, box.width, box.height)
    _fold(pdf, fold(box))
    for face in faces(box):
        _draw_symbol(pdf, face.symbol, symbol)
        _draw_words(pdf, face, label, end)


def _fold(pdf: FPDF, box: Box) -> None:
    middle = box.x + box.width / 2
    pdf.set_dash_pattern(dash=1, gap=1)
    pdf.line(middle, box.y, middle, box.bottom)
    pdf.set_dash_pattern()
    pdf.set_text_color(110)
    _line(pdf, "fold round", Box(box.x, box.y + 6, box.width / 2 - 0.5, 3), "helvetica", "", 5)
    _line(pdf, "the cable", Box(middle + 0.5, box.y + 6, box.width / 2 - 0.5, 3), "helvetica", "", 5)
    pdf.set_text_color(0)


def _draw_symbol(pdf: FPDF, box: Box, symbol: list[list[bool]]) -> None:
    side = module(box, len(symbol))
    pdf.set_fill_color(0)
    for row, cells in enumerate(symbol):
        y = box.y + (QUIET_MODULES + row) * side
        for first, length in _runs(cells):
            x = box.x + (QUIET_MODULES + first) * side
            pdf.rect(x, y, length * side, side + _OVERLAP, style="F")


def _runs(cells: Iterable[bool]) -> Iterable[tuple[int, int]]:
    """Where dark runs of a row begin, and how long they are."""
    at = 0
    for dark, run in groupby(cells):
        length = len(list(run))
        if dark:
            yield at, length
        at += length


def _draw_words(pdf: FPDF, face: Face, label: Label, end: str) -> None:
    for line, part in zip(face.code, (label.code[:3], label.code[3:]), strict=True):
        _line(pdf, part, line, "courier", "B", 18)
    _draw_end(pdf, face.end, end)
    halves = _halves(label.name)
    height = face.name.height / 2
    for number, half in enumerate(halves):
        line = Box(face.name.x, face.name.y + number * height, face.name.width, height)
        _line(pdf, half, line, "helvetica", "B", 7)


def _draw_end(pdf: FPDF, box: Box, end: str) -> None:
    """End A in a circle and end B on a dark square, as on the pages: told apart without reading."""
    pdf.set_draw_color(0)
    pdf.set_line_width(0.35)
    if end == "A":
        pdf.ellipse(box.x, box.y, box.width, box.height)
    else:
        pdf.rect(box.x, box.y, box.width, box.height, style="F")
        pdf.set_text_color(255)
    _line(pdf, end, box, "helvetica", "B", 10)
    pdf.set_text_color(0)


def _line(pdf: FPDF, text: str, box: Box, font: str, style: str, size: float) -> None:
    """One line, in the middle of its box, smaller where it would not fit."""
    pdf.set_font(font, style, size)
    wide = pdf.get_string_width(text)
    if wide > box.width:
        size *= box.width / wide
        pdf.set_font(font, style, size)
        wide = box.width
    baseline = box.y + (box.height + _CAP * size * _POINT) / 2
    pdf.text(box.x + (box.width - wide) / 2, baseline, text)


def _halves(name: str) -> list[str]:
    """A name in two lines where it has a part in parentheses, which then stands below."""
    first, parenthesis, rest = name.partition(" (")
    return [first, f"({rest}"] if parenthesis else [first]
