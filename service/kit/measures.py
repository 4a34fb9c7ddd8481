"""Reading values that people type from a meter: volts, capacitance, resistance, temperature, with their units.

>>> parse_picofarad("1.2 nF"), parse_milliohm("0.85"), parse_milliohm("850 mohm"), parse_celsius("68 F")
(1200.0, 850.0, 850.0, 20.0)
"""

import re
from typing import Final

from service.kit.problems import invalid
from service.kit.text import plain

_TYPED: Final = re.compile(r"(?P<sign>[+-]?) ?(?P<number>\d+(?:[.,]\d+)?|[.,]\d+) ?(?P<unit>[^\d.,]*)")
_LONGEST: Final = 30

_PICOFARAD: Final = {"pf": 1.0, "nf": 1e3, "uf": 1e6, "\u00b5f": 1e6, "\u03bcf": 1e6}  # both signs for micro
_MILLIOHM: Final = {"": 1e3, "Ω": 1e3, "mΩ": 1.0, "milliΩ": 1.0, "kΩ": 1e6}
_METER_OHM: Final = {
    "Ω": 1.0,
    "k": 1e3,
    "kΩ": 1e3,
    "m": 1e6,
    "mΩ": 1e6,
    "megΩ": 1e6,
    "megaΩ": 1e6,
    "g": 1e9,
    "gΩ": 1e9,
}
_LEAST_METER_OHM, _MOST_METER_OHM = 1e3, 1e13
_VOLT: Final = {"": 1.0, "v": 1.0, "volt": 1.0, "volts": 1.0, "mv": 1e-3}


def parse_picofarad(text: str, field: str) -> float:
    """Picofarads from `830 pF` or `0.83 nF`; the unit is needed. Raises `Invalid` for `field`."""
    number, unit = _split(text, field, "830 pF or 0.83 nF")
    if not unit:
        raise invalid(field, f"“{plain(text)}” needs its unit: write {plain(text)} pF or {plain(text)} nF.")
    return number * _factor(text, unit.lower(), _PICOFARAD, field, "830 pF or 0.83 nF")


def parse_milliohm(text: str, field: str) -> float:
    """Milliohms from `0.85`, `0.85 ohm` or `850 mohm`; a bare number is ohms. Raises `Invalid` for `field`."""
    number, unit = _split(text, field, "0.85 or 850 mohm, in ohms where nothing else is said")
    unit = re.sub("ohms?|\u2126", "Ω", unit, flags=re.IGNORECASE)  # U+2126 is the sign for ohm; M and m differ
    return number * _factor(text, unit, _MILLIOHM, field, "0.85 ohm or 850 mohm")


def parse_meter_ohm(text: str, field: str) -> float:
    """Ohms of a voltmeter's input from `10 Mohm`, `10M` or `200 kohm`; the unit is needed, and m is mega here.

    Raises `Invalid` for `field`.
    """
    number, unit = _split(text, field, "10 Mohm")
    if not unit:
        raise invalid(field, f"“{plain(text)}” needs its unit: write {plain(text)} Mohm or {plain(text)} kohm.")
    unit = re.sub("ohms?|\u2126", "Ω", unit, flags=re.IGNORECASE).lower().replace("ω", "Ω")
    ohm = number * _factor(text, unit, _METER_OHM, field, "10 Mohm")
    if not _LEAST_METER_OHM <= ohm <= _MOST_METER_OHM:
        raise invalid(field, f"No voltmeter has {plain(text)} between its leads; its manual says how much.")
    return ohm


def parse_volts(text: str, field: str) -> float:
    """Volts from `47.9`, `-0.2 V` or `120 mV`. Raises `Invalid` for `field`."""
    number, unit = _split(text, field, "47.9")
    return number * _factor(text, unit.lower(), _VOLT, field, "47.9 or 47.9 V")


def parse_celsius(text: str, field: str) -> float:
    """Degrees Celsius from `20 C` or `68 F`; the unit is needed. Raises `Invalid` for `field`."""
    number, unit = _split(text, field, "68 F or 20 C")
    scale = unit.lower().removeprefix("°").strip()
    if scale == "f":
        return (number - 32) * 5 / 9
    if scale == "c":
        return number
    raise invalid(field, f"“{plain(text)[:_LONGEST]}” needs its unit: write it like 68 F or 20 C.")


def parse_share(text: str, field: str) -> float:
    """A share from a percentage, `2` or `2 %`. Raises `Invalid` for `field`."""
    number, unit = _split(text, field, "2 or 2 %")
    return number * _factor(text, unit, {"": 0.01, "%": 0.01}, field, "2 or 2 %")


def _split(text: str, field: str, like: str) -> tuple[float, str]:
    """The number and its unit."""
    typed = plain(text)
    match = _TYPED.fullmatch(typed) if len(typed) <= _LONGEST else None
    if not typed:
        raise invalid(field, f"Write what the meter shows, like {like}.")
    if match is None:
        raise invalid(
            field,
            f"“{typed[:_LONGEST]}” is no measured value; write it like {like}. Over range or OL cannot be used.",
        )
    whole, comma, rest = match["number"].partition(",")
    if comma and len(rest) == 3 and whole.strip("0"):
        raise invalid(field, f"“{typed}” may mean {whole}{rest} or {whole}.{rest}; write it one of these ways.")
    number = float(match["number"].replace(",", "."))
    return -number if match["sign"] == "-" else number, match["unit"].strip()


def _factor(text: str, unit: str, units: dict[str, float], field: str, like: str) -> float:
    if unit not in units:
        raise invalid(field, f"“{plain(text)[:_LONGEST]}” has a unit that is not known here; write it like {like}.")
    return units[unit]
