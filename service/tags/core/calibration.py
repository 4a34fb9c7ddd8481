"""The page for measuring a printer: rulers of 100 mm in both directions, and instructions. Pure."""

from service.tags.core.boxes import Box
from service.tags.core.marks import Mark, ThinLine, Words
from service.tags.core.printer import RULER_MM
from service.tags.core.sheets import PaperSheet

CORNER = 20.0
"""Where the rulers begin, in millimeters from the left and from the top of the paper."""
_TICK, _LONG_TICK = 2.0, 4.0
_HOW = (
    "Printer check. Print this on plain paper at 100 %, never fitted to the page.",
    "Measure the two rulers from their first to their last long tick: each should be 100 mm.",
    "Measure from the paper's left edge and from its top edge to the cross: each should be 20 mm.",
    "Then hold the sheet before a sheet of labels against the light.",
)


def calibration(sheet: PaperSheet) -> list[Mark]:
    """The rulers, the cross at which they begin, and the words beside them; the paper has room for 100 mm and more."""
    marks: list[Mark] = [
        Words(Box(CORNER + 8, CORNER + 12 + 6 * number, min(sheet.page.width - CORNER - 14, 150), 4), line, 2.2)
        for number, line in enumerate(_HOW)
    ]
    for at in range(0, RULER_MM + 1, 5):
        tick = _LONG_TICK if at % 50 == 0 else _TICK
        marks.append(ThinLine(Box(CORNER + at, CORNER, 0, tick)))
        marks.append(ThinLine(Box(CORNER, CORNER + at, tick, 0)))
    marks += [ThinLine(Box(CORNER, CORNER, RULER_MM, 0)), ThinLine(Box(CORNER, CORNER, 0, RULER_MM))]
    marks += [ThinLine(Box(CORNER - 4, CORNER, 4, 0)), ThinLine(Box(CORNER, CORNER - 4, 0, 4))]
    marks.append(Words(Box(CORNER + 40, CORNER - 5, 20, 3), "100 mm across", 1.8))
    marks.append(Words(Box(CORNER - 5, CORNER + 40, 3, 20), "100 mm down", 1.8, quarter=1))
    return marks
