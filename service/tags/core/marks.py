"""What is drawn on a tag, and where: layouts make marks, and the PDF and the preview draw them. Pure."""

from dataclasses import dataclass, replace
from functools import cached_property

from service.tags.core.boxes import Box
from service.tags.core.lettering import CAP, Font, reach, width


@dataclass(frozen=True)
class Symbol:
    """A QR symbol with its quiet zone."""

    box: Box


@dataclass(frozen=True)
class Words:
    """A line of text in the middle of its box, as large as possible, with capitals of at most `cap` millimeters.

    `quarter` turns it anticlockwise: 0 reads to the right, 1 up, 2 on its head, 3 down. `ink` is its darkness, from
    0 (black) to 1 (white). `narrowest` is how far its letters may be narrowed before they are made smaller.
    """

    box: Box
    text: str
    cap: float
    font: Font = Font.PLAIN
    quarter: int = 0
    ink: float = 0.0
    narrowest: float = 1.0

    @cached_property
    def size(self) -> float:
        """The size of the type in millimeters."""
        above, below = reach(self.text, self.font)
        most = min(min(self.cap, self._thick) / CAP[self.font], self._thick / (above + below))
        return min(most, self._room / self.narrowest)

    @property
    def base(self) -> float:
        """The distance of the baseline below the middle of the box, in millimeters.

        Capitals stand in the middle, or as far off as keeps the highest and deepest letter within the box.
        """
        above, below = (self.size * part for part in reach(self.text, self.font))
        middle = CAP[self.font] * self.size / 2
        return min(max(middle, above - self._thick / 2), self._thick / 2 - below)

    @property
    def narrowed(self) -> float:
        """The factor for the width of the letters, 1 if they fit unchanged."""
        return min(1.0, self._room / self.size)

    @property
    def length(self) -> float:
        """The length of the line, in millimeters."""
        return width(self.text, self.font) * self.size * self.narrowed

    @property
    def _thick(self) -> float:
        return self.box.width if self.quarter % 2 else self.box.height

    @cached_property
    def _room(self) -> float:
        """The size at which the line would just fill the box."""
        return (self.box.height if self.quarter % 2 else self.box.width) / width(self.text, self.font)


@dataclass(frozen=True)
class EndMark:
    """The letter of an end: A in a circle, B on a dark square, as on the pages, so that they differ in shape, too."""

    box: Box
    end: str
    quarter: int = 0

    @property
    def letter(self) -> Words:
        """The letter as words to draw."""
        ink = 1.0 if self.end == "B" else 0.0
        return Words(self.box, self.end, 0.6 * self.box.height, quarter=self.quarter, ink=ink)


@dataclass(frozen=True)
class ThinLine:
    """A thin line, as a box without width or height; `dashed` for folds and beginnings."""

    box: Box
    dashed: bool = False


Mark = Symbol | Words | EndMark | ThinLine


def upright(mark: Mark, height: float) -> Mark:
    """A mark of a layout on its side, turned clockwise; `height` is the layout's height before, and its width after."""
    box = mark.box
    turned = Box(height - box.bottom, box.x, box.height, box.width)
    if isinstance(mark, Words | EndMark):
        return replace(mark, box=turned, quarter=(mark.quarter + 3) % 4)
    return replace(mark, box=turned)
