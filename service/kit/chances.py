"""Chances in percent, as people read them."""

from math import floor


def format_chance(chance: float, *beside: float) -> str:
    """A chance from 0 to 1 in whole percent, or in tenths, rounded down, where whole ones would mislead.

    What is not certain is never "100 %" or "0 %", and of chances `beside` it only an equal one has the same figure.

    >>> [format_chance(chance) for chance in (0, 0.0004, 0.004, 0.123, 0.997, 0.99996, 1)]
    ['0 %', 'under 0.1 %', '0.4 %', '12 %', '99.7 %', 'over 99.9 %', '100 %']
    >>> [format_chance(chance, 0.95) for chance in (0.9496, 0.95, 0.952, 0.96)]
    ['94.9 %', '95 %', '95.2 %', '96 %']
    """
    if chance <= 0 or chance >= 1:
        return "100 %" if chance >= 1 else "0 %"
    whole = round(100 * chance)
    others = [other for other in beside if abs(other - chance) > _SAME]
    if 0 < whole < 100 and whole not in (round(100 * other) for other in others):
        return f"{whole} %"
    if chance > 0.999:
        return "over 99.9 %"
    tenths = floor(chance * 1000 + _SAME)
    return f"{tenths / 10:.1f} %" if tenths else "under 0.1 %"


_SAME = 1e-9
"""Chances that differ by no more are the same: a product of chances that is 0.95 may come out a hair below."""
