"""Rectangles in millimeters, from the top left corner. Pure."""

from dataclasses import dataclass

_SLACK = 1e-3  # a micrometer, more than rounding errors of sums


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
        """Whether `other` is inside, with a tolerance of a micrometer."""
        return (
            self.x <= other.x + _SLACK
            and self.y <= other.y + _SLACK
            and other.right <= self.right + _SLACK
            and other.bottom <= self.bottom + _SLACK
        )

    def apart(self, other: "Box") -> bool:
        """Whether the two share at most an edge, with a tolerance of a micrometer."""
        return (
            self.right <= other.x + _SLACK
            or other.right <= self.x + _SLACK
            or self.bottom <= other.y + _SLACK
            or other.bottom <= self.y + _SLACK
        )

    def moved(self, x: float, y: float) -> "Box":
        """The same rectangle, moved by `x` to the right and by `y` down."""
        return Box(self.x + x, self.y + y, self.width, self.height)
