"""The pencil: lines, breaks, joints and rings as SVG path data, a little uneven, as a hand draws them. Pure.

Everything is in units of the drawing, 320 wide, so a unit is a pixel on the narrowest phone.
"""

from collections.abc import Iterable, Sequence

Point = tuple[float, float]
BREAK = 10.0
"""Half the width of a break in a line."""


def line(y: float, start: float, stop: float, breaks: Iterable[float] = (), bow: float = 1.2) -> str:
    """A level line with breaks in it, bowed by `bow`."""
    path, x = "", start
    for at in [*sorted(breaks), None]:
        end = stop if at is None else at - BREAK
        path += f"M{n(x)} {n(y)}Q{n((x + end) / 2)} {n(y + bow)} {n(end)} {n(y)}"
        x = end if at is None else at + BREAK
    return path


def crossing(one: Point, other: Point) -> str:
    """The way over from one row to another."""
    (x, y), (to_x, to_y) = one, other
    half = (x + to_x) / 2
    return f"M{n(x)} {n(y)}C{n(half)} {n(y)} {n(half)} {n(to_y)} {n(to_x)} {n(to_y)}"


def slashes(x: float, y: float) -> str:
    """Two strokes across a line: it is broken between them."""
    return "".join(f"M{n(at - 3)} {n(y + 8)}L{n(at + 3)} {n(y - 8)}" for at in (x - 5, x + 5))


def flicker(x: float, y: float) -> str:
    """The jagged piece of line that stands for a fault which cannot be seen in the readings."""
    return f"M{n(x - BREAK)} {n(y)}h1l3 -7 4 14 4 -14 4 14 3 -7h1"


def arrow(x: float, y: float) -> str:
    """The point of an arrow that arrives at x."""
    return f"M{n(x - 8)} {n(y - 5.5)}L{n(x - 1)} {n(y)}L{n(x - 8)} {n(y + 5.5)}"


def arrow_back(x: float, y: float) -> str:
    """The point of an arrow that arrives at x from the right."""
    return f"M{n(x + 8)} {n(y - 5.5)}L{n(x + 1)} {n(y)}L{n(x + 8)} {n(y + 5.5)}"


def joint(x: float, ys: Sequence[float], stubs: Iterable[Point] = ()) -> str:
    """A crooked strand between rows, and level pieces from bare contacts (x, y) to it."""
    top, bottom = min(ys), max(ys)
    steps = max(2, round((bottom - top) / 10))
    path = f"M{n(x)} {n(top)}"
    for step in range(1, steps):
        path += f"L{n(x + (3 if step % 2 else -3))} {n(top + (bottom - top) * step / steps)}"
    path += f"L{n(x)} {n(bottom)}"
    return path + "".join(f"M{n(from_x)} {n(y)}H{n(x)}" for from_x, y in stubs)


def ring(x: float, y: float, rx: float, ry: float) -> str:
    """A ring drawn round a fault, not quite closed on itself."""
    return (
        f"M{n(x - rx * 0.3)} {n(y - ry)}A{n(rx)} {n(ry)} 0 1 0 {n(x + rx * 0.35)} {n(y - ry * 0.95)}"
        f"A{n(rx * 1.3)} {n(ry * 1.2)} 0 0 0 {n(x - rx * 0.75)} {n(y - ry * 0.9)}"
    )


def link(x: float, y: float, to_y: float, out: float) -> str:
    """A wire from contact to contact at one end, led round on the side that `out` (signed) says."""
    return f"M{n(x)} {n(y)}C{n(x + out)} {n(y)} {n(x + out)} {n(to_y)} {n(x)} {n(to_y)}"


def cross(x: float, y: float) -> str:
    """A small cross."""
    return f"M{n(x - 3)} {n(y - 3)}l6 6M{n(x + 3)} {n(y - 3)}l-6 6"


def coil(y: float, start: float, stop: float, loops: int = 5) -> str:
    """A cable from end to end, coiled up in the middle."""
    pitch = 12.0
    x = (start + stop - pitch * loops) / 2
    path = f"M{n(start)} {n(y)}H{n(x)}"
    for _ in range(loops):
        path += f"c{n(pitch * 0.9)} 0 {n(pitch)} -13 {n(pitch * 0.35)} -13s-{n(pitch * 0.25)} 13 {n(pitch * 0.65)} 13"
    return f"{path}H{n(stop)}"


def n(value: float) -> str:
    """A number as path data writes it."""
    return f"{value:.1f}".removesuffix(".0")
