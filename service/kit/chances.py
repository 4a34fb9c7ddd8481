"""Chances in percent, as people read them."""

from math import floor


def format_chance(chance: float) -> str:
    """A chance from 0 to 1 in percent, rounded down to a tenth: what is not certain is never "100 %" or "0 %".

    >>> [format_chance(chance) for chance in (0, 0.0004, 0.9496, 0.99996, 1)]
    ['0 %', 'under 0.1 %', '94.9 %', 'over 99.9 %', '100 %']
    """
    if chance <= 0 or chance >= 1:
        return "100 %" if chance >= 1 else "0 %"
    if chance > 0.999:
        return "over 99.9 %"
    tenths = floor(chance * 1000 + 1e-9)  # a product of chances that is 0.95 may come out a hair below
    return f"{tenths / 10:.1f} %" if tenths else "under 0.1 %"
