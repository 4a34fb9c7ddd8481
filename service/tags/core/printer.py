"""The correction for a printer that prints too large, too small or shifted, from a measured 100 mm ruler. Pure.

A printer that makes 97 mm of every 100 puts the last of a 267 mm column of labels 8 mm too high. What it is told is
divided by 0.97 first, so it comes out right.

>>> Printer(measured_x=97_000, measured_y=100_000, right=1_000).corrected(50.0, 20.0)
(50.51546391752577, 20.0)
"""

from dataclasses import dataclass, fields

from service.kit.problems import Invalid

RULER_MM = 100
_LEAST, _MOST = 95_000, 105_000
_FARTHEST = 5_000


@dataclass(frozen=True)
class Printer:
    """How a printer prints, in micrometers: the length of a ruler of 100 mm across and down the paper as measured on
    it, and how far everything lies too far to the right and too far down (below 0: left, up).

    Raises:
        Invalid: off by more than can be put right, with a sentence by measure.
    """

    measured_x: int = 100_000
    measured_y: int = 100_000
    right: int = 0
    down: int = 0

    def __post_init__(self) -> None:
        errors = {}
        for each in fields(self):
            value = int(getattr(self, each.name))
            if each.name.startswith("measured") and not _LEAST <= value <= _MOST:
                errors[each.name] = (
                    f"A ruler of 100 mm that comes out as {value / 1000:g} mm is too far off to be put right. Print at "
                    "100 %, not fitted to the page, and measure again."
                )
            elif not each.name.startswith("measured") and abs(value) > _FARTHEST:
                errors[each.name] = (
                    f"{value / 1000:g} mm is too far to be put right, {_FARTHEST // 1000} mm is the most. Check how "
                    "the paper lies in the printer's tray."
                )
        if errors:
            raise Invalid(" ".join(errors.values()), errors)

    @property
    def scale(self) -> tuple[float, float]:
        """The factors by which it changes lengths across and down: 0.97 where 100 mm are printed as 97 mm."""
        return self.measured_x / 100_000, self.measured_y / 100_000

    def corrected(self, x: float, y: float) -> tuple[float, float]:
        """The coordinates to send to the printer so that something is printed at these millimeters."""
        across, down = self.scale
        return (x - self.right / 1000) / across, (y - self.down / 1000) / down
