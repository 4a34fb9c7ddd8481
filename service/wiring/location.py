"""Where along a cable a break or a short lies, from one reading at each end.

A broken conductor is two pieces, each with the capacitance of its length: the break divides the cable as the
two readings, stray capacitance removed. A short is read as a loop from each end, far end left open; what it
resists itself is in both readings, so half their difference alone tells how far it lies from the middle:

    open:  d = L x Ca / (Ca + Cb)            short:  d = L/2 + (Ra - Rb) / (2 (rc + rs))

The first is Murray's loop and the second Varley's, known from telegraph cables. Points count from end A. The
band takes every stated uncertainty at its worst at once: what the meter may be off, and that each of the two pieces
may have `UNEVEN` more or less a meter than the cable should.

>>> at = locate_open(10_000, 230, 830, stray_a=30, stray_b=30, meter=Meter(0.01, 1))
>>> at.at_mm, at.from_mm, at.to_mm
(2000, 1790, 2227)
>>> at.sentence(Unit.METERS)
'About 2 m from end A (between 1.7 m and 2.3 m): in the cable itself, not in a connector.'
"""

import math
from dataclasses import dataclass
from itertools import product

from service.kit.problems import invalid
from service.kit.quantities import Unit, format_length
from service.wiring.copper import REFERENCE_CELSIUS, milliohm_per_meter

CONNECTOR_MM = 150  # a band that comes this near to an end may mean the connector: common practice, no source
UNEVEN = 0.05  # how far a piece of a cable is off what it should have a meter: common practice, no source
_STEP = {Unit.METERS: 100.0, Unit.FEET: 25.4}  # the step to which a point is given, in mm: 0.1 m, or whole inches


@dataclass(frozen=True, slots=True)
class Meter:
    """What an instrument may be off: a share of the reading, plus a fixed amount in its unit."""

    relative: float
    absolute: float

    def __post_init__(self) -> None:
        if not 0 <= self.relative < 1 or not 0 <= self.absolute < math.inf:
            raise invalid("meter", "A meter is off by a share from 0 to below 1, and a fixed amount from 0 up.")

    def error(self, reading: float) -> float:
        """The most that `reading` may be off."""
        return abs(reading) * self.relative + self.absolute


@dataclass(frozen=True, slots=True)
class FaultLocation:
    """A point along a cable of `length_mm`, in mm from end A, and the band in which it lies."""

    at_mm: int
    from_mm: int
    to_mm: int
    length_mm: int
    fault_milliohm: float | None = None  # what a short itself resists

    @property
    def vague(self) -> bool:
        """Whether the band is most of the cable: the instrument is too coarse for it."""
        return self.to_mm - self.from_mm > 0.75 * self.length_mm

    def sentence(self, unit: Unit) -> str:
        """Where to open the cable, in words."""
        if self.vague:
            return "The meter is too coarse for a cable this short: open the connectors first."
        least, at, most = (self._shown(steps, unit) for steps in self._steps(_STEP[unit]))
        words = f"About {at} from end A (between {least} and {most})"
        if self.from_mm <= CONNECTOR_MM:
            return f"{words}: open the connector at end A first."
        if self.to_mm >= self.length_mm - CONNECTOR_MM:
            return f"{words}: open the connector at end B first."
        return f"{words}: in the cable itself, not in a connector."

    def _steps(self, step: float) -> tuple[int, int, int]:
        """The band and the place between, in steps: rounded outwards, and never less than one wide."""
        first, last = math.floor(self.from_mm / step), math.ceil(self.to_mm / step)
        if first == last:
            first, last = (first, last + 1) if last * step < self.length_mm else (first - 1, last)
        return first, round(self.at_mm / step), last

    def _shown(self, steps: int, unit: Unit) -> str:
        return format_length(min(round(steps * _STEP[unit]), self.length_mm), unit)


def locate_open(
    length_mm: int,
    picofarad_a: float,
    picofarad_b: float,
    *,
    stray_a: float,
    stray_b: float,
    meter: Meter,
    whole: float | None = None,
) -> FaultLocation:
    """Where a break lies, from the broken conductor's capacitance at each end, other conductors joined.

    `stray_a` and `stray_b` are what meter and leads read at each place with the cable taken off. `whole` is a
    sound conductor of the same cable read at end A: with it, a conductor that is not broken, or broken twice,
    is found out. All in pF, `meter` too. Raises `Invalid`.
    """
    _checked(length_mm, picofarad_a, picofarad_b, stray_a, stray_b)
    a, error_a = _net(picofarad_a, stray_a, meter, "A")
    b, error_b = _net(picofarad_b, stray_b, meter, "B")
    if a + b <= 0:
        raise invalid("picofarad", "Neither end reads more than its stray capacitance: is the cable on the meter?")
    if whole is not None:
        full, error = _net(whole, stray_a, meter, "A")
        _refuse_if_not_broken_once(a + b, full, error_a + error_b + error + UNEVEN * full)
    dense, thin = 1 + UNEVEN, 1 - UNEVEN
    least = ratio_point(length_mm, max(0.0, a - error_a) / dense, (b + error_b) / thin)
    most = ratio_point(length_mm, (a + error_a) / thin, max(0.0, b - error_b) / dense)
    return _location(length_mm, ratio_point(length_mm, a, b), least, most)


def locate_short(
    length_mm: int,
    milliohm_a: float,
    milliohm_b: float,
    *,
    lead_a: float,
    lead_b: float,
    per_meter: float,
    meter: Meter,
) -> FaultLocation:
    """Where a short lies, from the loop through it at each end, the far end open, in milliohms.

    `lead_a` and `lead_b` are what the test leads read clipped together. `per_meter` is what the two shorted
    conductors resist together, milliohm/m (`pair_per_meter`), each piece good to `UNEVEN`. Raises `Invalid`.
    """
    _checked(length_mm, milliohm_a, milliohm_b, lead_a, lead_b)
    if not 0 < per_meter < math.inf:
        raise invalid("per_meter", "The two conductors resist something: give it in milliohms a meter.")
    a, error_a = _net(milliohm_a, lead_a, meter, "A")
    b, error_b = _net(milliohm_b, lead_b, meter, "B")
    copper = length_mm / 1000 * per_meter
    itself = (a + b - copper) / 2
    if itself < -(error_a + error_b + UNEVEN * copper) / 2:
        raise invalid(
            "milliohm",
            f"The two readings together are less than the cable's own {copper:.0f} milliohms: check the "
            "length and gauge on record, and that each end was open while the other was read.",
        )
    difference, error, off = a - b, error_a + error_b, (1 - UNEVEN, 1 + UNEVEN)
    bounds = [
        uneven_point(length_mm, difference + sign * error, per_meter / 1000 * piece_a, per_meter / 1000 * piece_b)
        for sign, piece_a, piece_b in product((-1, 1), off, off)
    ]
    if min(bounds) > length_mm or max(bounds) < 0:
        end = "A" if max(bounds) < 0 else "B"
        raise invalid(
            "milliohm",
            f"These readings put the short beyond end {end}: read the same two conductors at both ends, and "
            "check the gauge on record.",
        )
    at = difference_point(length_mm, a, b, per_meter / 1000)
    return _location(length_mm, at, min(bounds), max(bounds), max(0.0, itself))


def pair_per_meter(
    awg: int, celsius: float = REFERENCE_CELSIUS, *, shield_milliohm_per_meter: float | None = None
) -> float:
    """Milliohm/m of a core with the shield, or of two cores of that gauge where no shield is given."""
    core = milliohm_per_meter(awg, celsius)
    return core + (core if shield_milliohm_per_meter is None else shield_milliohm_per_meter)


def ratio_point(length: float, near: float, far: float) -> float:
    """`length` divided as near to far (Murray); exact for a break, and for a short of no resistance."""
    return length * near / (near + far) if near else 0.0


def difference_point(length: float, near: float, far: float, per_length: float) -> float:
    """Half of `length` and half the difference of two loops (Varley); what the fault resists cancels."""
    return uneven_point(length, near - far, per_length, per_length)


def uneven_point(length: float, difference: float, per_length_a: float, per_length_b: float) -> float:
    """The same where the piece at A and the piece at B do not resist alike: what adds up to the loops' difference."""
    return (difference + length * per_length_b) / (per_length_a + per_length_b)


def _checked(length_mm: int, *readings: float) -> None:
    if length_mm <= 0:
        raise invalid("length", "The cable needs a length before a place on it can be found.")
    if not all(0 <= reading < math.inf for reading in readings):
        raise invalid("readings", "An over-range or negative reading tells no place: measure that end again.")


def _net(reading: float, stray: float, meter: Meter, end: str) -> tuple[float, float]:
    """The reading less stray or leads, and the most that this may be off."""
    error = meter.error(reading) + meter.error(stray)
    if reading - stray < -error:
        raise invalid(
            f"end_{end.lower()}",
            f"End {end} reads less with the cable than without it: measure the leads there alone again.",
        )
    return max(0.0, reading - stray), error


def _refuse_if_not_broken_once(pieces: float, whole: float, error: float) -> None:
    if pieces > whole + error:
        raise invalid(
            "whole",
            "The two ends together read more than one whole conductor: this conductor is not broken now. "
            "Flex the cable and test again; it may come and go.",
        )
    if pieces < whole - error:
        raise invalid(
            "whole",
            "The two ends together read less than one whole conductor: it is broken in two places, or the "
            "conductors were not joined alike at both ends. Open both connectors.",
        )


def _location(length_mm: int, at: float, least: float, most: float, itself: float | None = None) -> FaultLocation:
    at_mm, from_mm, to_mm = (round(min(max(mm, 0.0), length_mm)) for mm in (at, math.floor(least), math.ceil(most)))
    return FaultLocation(at_mm, from_mm, to_mm, length_mm, itself)
