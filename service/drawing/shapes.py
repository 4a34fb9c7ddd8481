"""The elements of a drawing, in units of which it is 320 wide. Pure data, in the order in which it is painted."""

from dataclasses import dataclass

from service.drawing.findings import LineKind
from service.drawing.strokes import Point


@dataclass(frozen=True, slots=True)
class TextLabel:
    """Words at a place: x is their start, or their end where `anchor` is "end"."""

    text: str
    x: float
    y: float
    tone: str
    anchor: str = "start"


@dataclass(frozen=True, slots=True)
class Contact:
    """A contact: its center, its width, whether it was tested and whether a fault names it or what ends on it."""

    name: str
    text: str
    x: float
    y: float
    width: float
    tested: bool
    fault: bool


@dataclass(frozen=True, slots=True)
class Wire:
    """A conductor's line, and the same in a sentence; of one that goes elsewhere, `over` is the part that passes over
    others, and `ghost` where it should go."""

    name: str
    kind: LineKind
    path: str
    title: str
    over: str = ""
    arrow: str = ""
    ghost: str = ""


@dataclass(frozen=True, slots=True)
class FaultMark:
    """A fault's sign with a ring round it: "gap", "flicker" or "joint" (with a dot on each row that it joins)."""

    kind: str
    names: tuple[str, ...]
    path: str
    ring: str
    dots: tuple[Point, ...] = ()


@dataclass(frozen=True, slots=True)
class Link:
    """A bond; `cross` is drawn through one that was found missing, and `ring` round it."""

    earlier: str
    later: str
    path: str
    cross: str = ""
    ring: str = ""


@dataclass(frozen=True, slots=True)
class Block:
    """A piece of connector behind contacts of one end."""

    end: str
    y: float
    height: float


@dataclass(frozen=True, slots=True)
class Tape:
    """A strip of tape behind the name of a lane."""

    x: float
    y: float
    width: float


@dataclass(frozen=True, slots=True)
class Drawing:
    """Everything to draw, in order; `sentences` say the same for who cannot see it."""

    title: str
    height: float
    sentences: tuple[str, ...]
    coil: str
    blocks: tuple[Block, ...]
    links: tuple[Link, ...]
    wires: tuple[Wire, ...]
    contacts: tuple[Contact, ...]
    marks: tuple[FaultMark, ...]
    labels: tuple[TextLabel, ...]
    tapes: tuple[Tape, ...]
    strands: tuple[str, ...]
    notes: tuple[float, ...]
    key: str
