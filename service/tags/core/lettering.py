"""The width of letters in the two fonts that every PDF reader has, so that text can be fitted before drawing. Pure.

The widths are those of the PDF library's own tables, of the fonts' published metrics.
"""

from enum import StrEnum
from functools import cache, lru_cache
from unicodedata import normalize

from service.kit.text import plain


class Font(StrEnum):
    """A typeface, by its name in the PDF library."""

    PLAIN = "helveticaB"
    CODE = "courierB"


CAP = {Font.PLAIN: 0.718, Font.CODE: 0.562}
"""Height of a capital as a share of the type size, from the fonts' published metrics."""

_OF_CODES = {Font.PLAIN: (0.737, 0.056), Font.CODE: (0.62, 0.14)}
_OF_ALL = {Font.PLAIN: (0.962, 0.228), Font.CODE: (0.801, 0.25)}
"""How far letters reach above and below the line they stand on, as shares of the type size: capitals and digits, of
which only Q's foot goes below, and all letters. By the fonts' published boxes, from memory, and as drawn by PDFium."""


def printable(text: str) -> str:
    """`text` in the characters of these fonts (Latin-1): others are replaced by look-alikes, or else by a question
    mark.
    """
    drawn = []
    for character in plain(text):
        if not character.isprintable():
            continue
        parts = character if ord(character) < 256 else normalize("NFKD", character)
        drawn.append("".join(part for part in parts if ord(part) < 256) or "?")
    return "".join(drawn)


@lru_cache(maxsize=4096)  # each line is measured several times, and most names for every tag
def width(text: str, font: Font) -> float:
    """The width of a printable text, as a multiple of its type size."""
    widths = _widths(font)
    return sum(widths[character] for character in text) / 1000


def reach(text: str, font: Font) -> tuple[float, float]:
    """How far a text may reach above and below its baseline, as multiples of its type size."""
    if text.isascii() and text.replace(" ", "").isalnum() and text == text.upper():
        return _OF_CODES[font]
    return _OF_ALL[font]


@cache
def _widths(font: Font) -> dict[str, int]:
    from fpdf.fonts import CORE_FONTS_CHARWIDTHS  # the PDF library is loaded where it is used

    widths: dict[str, int] = CORE_FONTS_CHARWIDTHS[font]
    return widths
