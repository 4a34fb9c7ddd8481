"""The geometry of printed tags: rectangles in millimeters from the top left corner of the page. Pure.

A flag tag is a strip of two panels with a fold between them. The strip goes round the cable, the panels stick
together back to back, and stand off it as a flag that reads from both sides: a QR code wrapped round a cable of a
microphone line cannot be read, a flat one can. A cable of 5.5 to 7 mm takes 17 to 22 mm round, so the fold has 20.

>>> sheet = SHEETS["letter"]
>>> sheet.rows, sheet.box(0, 1).x - sheet.box(0, 0).right
(12, 6.0)
"""

from dataclasses import dataclass
from urllib.parse import urlsplit

from service.kit.problems import Problem

QUIET_MODULES = 4
"""ISO/IEC 18004: the white margin that every symbol needs, on each side."""
LEAST_MODULE = 0.40
"""The smallest square of a symbol: four dots of a 300 dpi printer and a bit, as guides for phones advise."""
PANEL_WIDTH, FOLD_WIDTH, TAG_HEIGHT = 36.0, 20.0, 20.0
EDGE = 1.0
"""Nothing is printed closer than this to a cut, so that a cut may miss by as much."""
PAGE_EDGE = 9.0
"""Nothing is printed closer than this to the paper's edge: common printers reach to 6.4 mm."""


class CannotPrint(Problem):
    """Tags cannot be printed as things are."""

    status = 409
    title = "Tags cannot be printed yet"


@dataclass(frozen=True)
class Label:
    """What the tags of one item show."""

    code: str
    name: str
    url: str


@dataclass(frozen=True)
class Box:
    """A rectangle: its top left corner, width and height."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Its right edge."""
        return self.x + self.width

    @property
    def bottom(self) -> float:
        """Its lower edge."""
        return self.y + self.height

    def holds(self, other: "Box") -> bool:
        """Whether `other` lies inside, give or take a micrometer."""
        return (
            self.x <= other.x + 1e-3
            and self.y <= other.y + 1e-3
            and other.right <= self.right + 1e-3
            and other.bottom <= self.bottom + 1e-3
        )


@dataclass(frozen=True)
class Sheet:
    """Paper and the tags on it: a row an item, end A in the first column and end B in the second."""

    name: str
    width: float
    height: float
    left: float
    top: float
    pitch_x: float
    pitch_y: float
    rows: int

    def __post_init__(self) -> None:
        printable = Box(PAGE_EDGE, PAGE_EDGE, self.width - 2 * PAGE_EDGE, self.height - 2 * PAGE_EDGE)
        if not (printable.holds(self.box(0, 0)) and printable.holds(self.box(self.rows - 1, 1))):
            raise ValueError(f"the tags do not fit on {self.name}")

    def box(self, row: int, column: int) -> Box:
        """Where a tag lies on the page, to its cuts."""
        return Box(
            self.left + column * self.pitch_x, self.top + row * self.pitch_y, 2 * PANEL_WIDTH + FOLD_WIDTH, TAG_HEIGHT
        )  # fmt: skip


SHEETS = {
    "letter": Sheet("Letter, 8.5 x 11 in, to cut", 215.9, 279.4, 12.95, 19.7, 98.0, 20.0, 12),
    "a4": Sheet("A4, 210 x 297 mm, to cut", 210.0, 297.0, 10.0, 18.5, 98.0, 20.0, 13),
}
"""The sheets that tags are printed on, the usual one first."""


@dataclass(frozen=True)
class Face:
    """What one panel shows, and where: the symbol with its quiet zone, the code in two lines, end and name."""

    symbol: Box
    code: tuple[Box, Box]
    end: Box
    name: Box


def faces(tag: Box) -> tuple[Face, Face]:
    """The two panels of a tag, both upright: folded, each is read from its own side."""
    return _face(tag.x, tag.y), _face(tag.x + PANEL_WIDTH + FOLD_WIDTH, tag.y)


def fold(tag: Box) -> Box:
    """The part of a tag that goes round the cable."""
    return Box(tag.x + PANEL_WIDTH, tag.y, FOLD_WIDTH, tag.height)


def _face(x: float, y: float) -> Face:
    side = TAG_HEIGHT - 2 * EDGE
    text = x + EDGE + side
    return Face(
        symbol=Box(x + EDGE, y + EDGE, side, side),
        code=(Box(text, y + EDGE, 10.8, 5.8), Box(text, y + EDGE + 5.8, 10.8, 5.8)),
        end=Box(text + 11.8, y + EDGE + 0.8, 4.2, 4.2),
        name=Box(text, y + EDGE + 12.0, 16.0, 6.0),
    )


def module(symbol: Box, modules: int) -> float:
    """The side of one square of a symbol that has `modules` of them a side, without its quiet zone.

    Raises:
        CannotPrint: they would be too small to be read, since the address is long.
    """
    side = symbol.width / (modules + 2 * QUIET_MODULES)
    if side < LEAST_MODULE:
        raise CannotPrint(
            "The address in COILBOOK_BASE_URL is too long for a tag: its QR code would be too fine to be read. "
            "Use a shorter host name."
        )
    return side


def tag_url(base_url: str | None, code: str) -> str:
    """What a tag's QR holds: the address in capitals, which a QR holds in little more than half the room.

    Raises:
        CannotPrint: no address is set, or it has a path, which capitals would change.
    """
    if base_url is None:
        raise CannotPrint(
            "Tags carry the address of this service, and none is set. Start Coilbook with COILBOOK_BASE_URL set "
            "to the address that phones reach it by, like https://cables.example.org."
        )
    if urlsplit(base_url).path:
        raise CannotPrint(
            f"COILBOOK_BASE_URL must be a host without a path for tags to work; it is {base_url}."
        )
    return f"{base_url}/t/{code}".upper()
