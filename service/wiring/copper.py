"""Copper: what a conductor of a given gauge, length and temperature should read, and what is too much.

Sources: diameters by the AWG formula of ASTM B258; resistivity 1/58 ohm mm²/m and temperature coefficient
0.00393/K at 20 °C for annealed copper (IEC 60028); maximum resistances by IEC 60228.

>>> round(diameter_mm(24), 3), round(milliohm_per_meter(24), 1)
(0.511, 84.2)
"""

import math
from dataclasses import dataclass
from enum import StrEnum

from service.kit.problems import invalid
from service.wiring.faults import ByEvidence, FaultClass

RESISTIVITY = 1000 / 58  # milliohm mm²/m at 20 °C
TEMPERATURE_COEFFICIENT = 0.00393  # per kelvin, from 20 °C
REFERENCE_CELSIUS = 20.0
THICKEST_AWG, THINNEST_AWG = 0, 40

FLEXIBLE_HALF_MM2 = 39.0  # milliohm/m at 20 °C: IEC 60228, most for 0.5 mm² of plain copper, classes 5 and 6

# How far sound stranded copper may stray from solid wire of its gauge. Upwards: what IEC 60228 grants a
# flexible 0.5 mm² conductor (39.0 over the 34.5 of its nominal area). Downwards: common practice, no source.
MOST_OVER = FLEXIBLE_HALF_MM2 / (RESISTIVITY / 0.5)
LEAST_UNDER = 0.95
# One mated contact, sound but used: from memory (5 to 20 milliohm by connector).
CONTACT_MILLIOHM = 20.0
METER_MILLIOHM = 20.0  # what a milliohm reading may be off with its leads zeroed: common practice, no source


class LoopState(StrEnum):
    """What a loop reading says."""

    OK = "ok"
    HIGH = "high"
    LOW = "low"  # the record or the measurement is wrong: no joint makes copper better


@dataclass(frozen=True, slots=True)
class LoopCheck:
    """A loop reading judged. All in milliohms; `excess` is what the reading has over `most`, else 0."""

    state: LoopState
    reading: float
    least: float
    expected: float
    most: float
    excess: float

    @property
    def evidence(self) -> ByEvidence | None:
        """The class of fault that the reading is evidence of, if any."""
        return FaultClass.HIGH_RESISTANCE if self.state is LoopState.HIGH else None

    @property
    def sentence(self) -> str:
        """One plain sentence for whoever holds the meter."""
        band = f"{self.least:.0f} to {self.most:.0f} milliohms"
        if self.state is LoopState.HIGH:
            return (
                f"{self.reading:.0f} milliohms is {self.excess:.0f} more than a sound cable shows ({band}): "
                "a joint or contact in this loop has high resistance."
            )
        if self.state is LoopState.LOW:
            return (
                f"{self.reading:.0f} milliohms is less than this much copper can show ({band}): check the "
                "length and gauge on record, zero the leads, and look for a short nearer than the far end."
            )
        return f"{self.reading:.0f} milliohms is what a sound cable shows ({band})."


def diameter_mm(awg: int) -> float:
    """Diameter of solid AWG wire in mm: 0.127 x 92^((36 - n)/39), ASTM B258. Raises `Invalid`."""
    if not THICKEST_AWG <= awg <= THINNEST_AWG:
        raise invalid("gauge_awg", f"{awg} is no wire gauge here: use {THICKEST_AWG} to {THINNEST_AWG} AWG.")
    return float(0.127 * 92 ** ((36 - awg) / 39))


def area_mm2(awg: int) -> float:
    """Cross-section of solid AWG wire in mm²."""
    return math.pi * diameter_mm(awg) ** 2 / 4


def milliohm_per_meter(awg: int, celsius: float = REFERENCE_CELSIUS) -> float:
    """Resistance of solid annealed copper of that gauge, in milliohm/m at `celsius`."""
    return RESISTIVITY / area_mm2(awg) * temperature_factor(celsius)


def temperature_factor(celsius: float) -> float:
    """How many times its 20 °C resistance copper has at `celsius` (-40 to 90)."""
    if not -40 <= celsius <= 90:
        raise invalid("celsius", f"{celsius:g} °C is not cable weather: give -40 to 90.")
    return 1 + TEMPERATURE_COEFFICIENT * (celsius - REFERENCE_CELSIUS)


def expected_loop(length_mm: int, awg: int, celsius: float = REFERENCE_CELSIUS, *, ways: int = 2) -> float:
    """Nominal milliohms of `ways` conductors of `length_mm` in series, contacts left out.

    `ways` is 2 for out and back through a jumper at the far end, 1 for one conductor from end to end.
    """
    if length_mm <= 0:
        raise invalid("length", "The cable needs a length before a resistance can be judged.")
    if ways not in (1, 2):
        raise invalid("ways", f"A loop runs through 1 or 2 conductors, not {ways}.")
    return ways * length_mm / 1000 * milliohm_per_meter(awg, celsius)


def loop_check(
    reading_milliohm: float,
    length_mm: int,
    awg: int,
    celsius: float = REFERENCE_CELSIUS,
    *,
    ways: int = 2,
    meter_milliohm: float = METER_MILLIOHM,
) -> LoopCheck:
    """Judge a reading, test leads already zeroed, against what sound copper and contacts may show.

    The band runs from `LEAST_UNDER` of the nominal copper to `MOST_OVER` of it plus two contacts a conductor,
    widened on both sides by what the meter may be off. Raises `Invalid`.
    """
    if not math.isfinite(reading_milliohm) or reading_milliohm < 0:
        raise invalid("milliohm", "An over-range or negative reading is no resistance: log an open, or zero the leads.")
    if not 0 <= meter_milliohm < math.inf:
        raise invalid("meter_milliohm", "What the meter may be off is a number of milliohms, zero or more.")
    nominal = expected_loop(length_mm, awg, celsius, ways=ways)
    contacts = 2 * ways * CONTACT_MILLIOHM
    least = max(0.0, nominal * LEAST_UNDER - meter_milliohm)
    most = nominal * MOST_OVER + contacts + meter_milliohm
    state = LoopState.OK
    if reading_milliohm > most:
        state = LoopState.HIGH
    elif reading_milliohm < least:
        state = LoopState.LOW
    return LoopCheck(state, reading_milliohm, least, nominal, most, max(0.0, reading_milliohm - most))
