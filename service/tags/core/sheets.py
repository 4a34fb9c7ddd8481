"""Label sheets and their dimensions, in whole micrometers so that inches are exact. Pure.

>>> sheet = SHEETS["63.5x38.1"]
>>> sheet.name, sheet.paper, sheet.box(1)
('63.5 x 38.1 mm, 3 x 7', 'A4', Box(x=73.29, y=15.15, width=63.5, height=38.1))
"""

from dataclasses import dataclass, fields

from service.kit.problems import Invalid
from service.tags.core.boxes import Box

EDGE = 1.0
"""Millimeters. Nothing is printed closer than this to a cut, so that a cut may be off by as much."""
PAPER_EDGE = 4.3
"""Millimeters. Nothing is printed closer than this to the paper's edge: common practice, no source."""
_PAPERS = {(210_000, 297_000): "A4", (215_900, 279_400): "Letter"}
_LEAST_LABEL, _MOST_PAGE, _MOST_ROWS = 5_000, 500_000, 60

WORDS = {
    "width": "Paper width",
    "height": "Paper height",
    "left": "Left margin",
    "top": "Top margin",
    "label_width": "Label width",
    "label_height": "Label height",
    "pitch_x": "Step across",
    "pitch_y": "Step down",
    "columns": "Columns",
    "rows": "Rows",
    "radius": "Corner radius",
}
"""The names of a sheet's dimensions on pages; a step is from a label's edge to the same edge of the next."""


@dataclass(frozen=True)
class PaperSheet:
    """Paper with labels; all dimensions are in micrometers. `cut` means plain paper with printed cut lines.

    Raises:
        Invalid: the labels do not fit on the paper or lie on each other, with a sentence by dimension.
    """

    width: int
    height: int
    left: int
    top: int
    label_width: int
    label_height: int
    pitch_x: int
    pitch_y: int
    columns: int
    rows: int
    radius: int = 0
    cut: bool = False

    def __post_init__(self) -> None:
        errors = self._amiss()
        if errors:
            raise Invalid(" ".join(errors.values()), errors)

    @property
    def name(self) -> str:
        """Its name: "63.5 x 38.1 mm, 3 x 7"."""
        size = f"{mm(self.label_width):g} x {mm(self.label_height):g} mm"
        return f"{size}, {self.columns} x {self.rows}" + (", plain paper to cut" if self.cut else "")

    @property
    def paper(self) -> str:
        """The name of its paper, or its size."""
        name = _PAPERS.get((self.width, self.height))
        return name or f"{mm(self.width):g} x {mm(self.height):g} mm"

    @property
    def page(self) -> Box:
        """The whole paper."""
        return Box(0, 0, mm(self.width), mm(self.height))

    @property
    def labels(self) -> int:
        """How many labels it has."""
        return self.columns * self.rows

    def box(self, number: int) -> Box:
        """The position of a label on the paper; labels are numbered from 0, row by row."""
        row, column = divmod(number, self.columns)
        return Box(
            mm(self.left + column * self.pitch_x),
            mm(self.top + row * self.pitch_y),
            mm(self.label_width),
            mm(self.label_height),
        )

    @property
    def live(self) -> Box:
        """The part of every label that may be printed on, from the label's own corner: off its cuts, and off the
        paper's edge for those that lie along it."""
        last_x = self.left + (self.columns - 1) * self.pitch_x + self.label_width
        last_y = self.top + (self.rows - 1) * self.pitch_y + self.label_height
        x = max(EDGE, PAPER_EDGE - mm(min(self.left, self.width - last_x)))
        y = max(EDGE, PAPER_EDGE - mm(min(self.top, self.height - last_y)))
        return Box(x, y, mm(self.label_width) - 2 * x, mm(self.label_height) - 2 * y)

    def _amiss(self) -> dict[str, str]:
        amiss = {**self._out_of_bounds()}
        amiss |= self._along("width", "left", "label_width", "pitch_x", "columns")
        amiss |= self._along("height", "top", "label_height", "pitch_y", "rows")
        if 2 * self.radius > min(self.label_width, self.label_height):
            amiss.setdefault("radius", "The corner radius can be half of the label's shorter side at the most.")
        return amiss

    def _out_of_bounds(self) -> dict[str, str]:
        amiss = {}
        for each in fields(self):
            value = int(getattr(self, each.name))
            if each.name in ("columns", "rows"):
                if not 1 <= value <= _MOST_ROWS:
                    amiss[each.name] = f"{WORDS[each.name]}: from 1 to {_MOST_ROWS}, not {value}."
            elif each.name.startswith("label_") and value < _LEAST_LABEL:
                amiss[each.name] = f"{WORDS[each.name]}: at least {mm(_LEAST_LABEL):g} mm."
            elif not 0 <= value <= _MOST_PAGE:
                amiss[each.name] = f"{WORDS[each.name]}: from 0 to {mm(_MOST_PAGE):g} mm."
        return amiss

    def _along(self, paper: str, margin: str, size: str, pitch: str, count: str) -> dict[str, str]:
        """The invariant: margin + (n - 1) x step + size <= paper, and no step shorter than a label."""
        room, first, label, step, labels = (int(getattr(self, name)) for name in (paper, margin, size, pitch, count))
        if labels > 1 and step < label:
            return {pitch: f"{WORDS[pitch]}: labels of {mm(label):g} mm every {mm(step):g} mm would overlap."}
        end = first + (labels - 1) * step + label
        if end > room:
            return {
                count: f"{WORDS[count]}: {labels} labels end {mm(end):g} mm from the edge, and the paper is "
                f"{mm(room):g} mm. Check {WORDS[margin].lower()}, {WORDS[pitch].lower()} and count."
            }
        return {}


def mm(micrometers: int) -> float:
    """Micrometers as millimeters."""
    return micrometers / 1000


_A4, _LETTER = (210_000, 297_000), (215_900, 279_400)

# Sizes that sheets of labels are commonly sold in, told by their measures (from memory).
SHEETS = {
    "letter": PaperSheet(*_LETTER, 12_950, 19_700, 92_000, 20_000, 98_000, 20_000, 2, 12, cut=True),
    "a4": PaperSheet(*_A4, 10_000, 18_500, 92_000, 20_000, 98_000, 20_000, 2, 13, cut=True),
    "101.6x50.8": PaperSheet(*_LETTER, 3_969, 12_700, 101_600, 50_800, 106_362, 50_800, 2, 5, 1_588),
    "101.6x33.9": PaperSheet(*_LETTER, 3_969, 21_167, 101_600, 33_866, 106_362, 33_866, 2, 7, 1_588),
    "66.7x25.4": PaperSheet(*_LETTER, 4_763, 12_700, 66_675, 25_400, 69_850, 25_400, 3, 10, 1_588),
    "99.1x38.1": PaperSheet(*_A4, 4_650, 15_150, 99_100, 38_100, 101_600, 38_100, 2, 7, 1_500),
    "63.5x38.1": PaperSheet(*_A4, 7_250, 15_150, 63_500, 38_100, 66_040, 38_100, 3, 7, 1_500),
    "70x37": PaperSheet(*_A4, 0, 500, 70_000, 37_000, 70_000, 37_000, 3, 8),
}
"""The sheets that are built in, by a short key; plain paper to cut comes first."""
