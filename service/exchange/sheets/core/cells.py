"""Reading cells of a sheet as values: in any notation whose meaning is clear, and never by guessing. Pure.

>>> read_length("10-ft", None), read_length("3", Unit.METERS), read_money("USD 18.5"), read_gauge("#24 AWG")
(3048, 3000, 1850, 24)
"""

import re
from contextlib import suppress

from service.kit.codes import read_code
from service.kit.problems import Invalid, invalid
from service.kit.quantities import Unit, parse_length, parse_money
from service.kit.text import can_be_shown, plain
from service.wiring.copper import THICKEST_AWG, THINNEST_AWG

LINE_MOST = 60
NOTE_MOST = 1000
COUNT_MOST = 200

_BARE = re.compile(r"\d+(?:[.,]\d+)?|[.]\d+|(?:\d+ )?\d{1,2}/\d{1,2}|\d* ?[¼½¾⅛⅜⅝⅞]")
_LENGTH_IN = re.compile(
    r"(?<![\w.,/×'-])(?!0+\b)\d{1,3}(?:[.,]\d{1,2}| ?[¼½¾⅛⅜⅝⅞])?"
    r"(?:(?:[ -]?(?:ft|feet|foot)\b\.?|') ?\d{1,2} ?(?:\"|''|in(?:ch(?:es)?)?\b)|[ -]?(?:ft|feet|foot)\b|'(?!\w)"
    r"|[ -]?met(?:er|re)s?\b| ?m\b(?! ?[-/&] ?[fm]| ?to | ?female))"
)
"""A length within other words: it has a unit, and an "M" that means a plug (male) is none."""
_TWO_LENGTHS = re.compile(
    r"\d ?(?:ft|feet|foot|'|m|met(?:er|re)s?)? ?(?:/|-|or|to|&) ?\d+ ?(?:ft\b|feet\b|foot\b|'|m\b|met(?:er|re)s?\b)"
)
_COUNT = re.compile(r"(?:x ?)?(\d{1,9})(?:[.,]0+)?(?: ?(?:x|pcs?\.?|pieces?|ea\.?|each|cables?|total))?")
# A comma with three digits after it separates thousands, so it is never read as a decimal comma.
_DECIMAL_COMMA = re.compile(r"\$? ?(?:\d+|\d{1,3}(?:\.\d{3})+),\d\d?")
_GAUGE = re.compile(r"#? ?(\d{1,2})(?:[.]0)? ?(?:awg|ga|gauge)?\.?")
_UNIT_WORDS = {Unit.FEET: "ft", Unit.METERS: "m"}
_UNKNOWN = frozenset(("?", "??", "???", "tbd", "tba", "unknown", "unk", "not known", "not sure"))
_NOTHING = frozenset(
    ("n/a", "n.a.", "n.a", "na", "none", "nil", "null", "-", "--", "---", ".", "not applicable", *_UNKNOWN)
)
_BROKEN_FORMULA = re.compile(r"#(?:ref!|n/a|value!|div/0!|name\?|null!|num!|spill!|calc!|getting_data|error!?)|err:\d+")
_CURRENCY = re.compile(
    r"[€£¥₹₽₩₺]|\b(?:eur|euros?|gbp|pounds?|chf|jpy|yen|cad|aud|nzd|mxn|pesos?|sek|nok|dkk|cny|inr)\b|(?:ca|au|nz|mx)\$"
)
_NUMBER_WORDS = {
    **{
        word: at
        for at, word in enumerate(
            (
                "one",
                "two",
                "three",
                "four",
                "five",
                "six",
                "seven",
                "eight",
                "nine",
                "ten",
                "eleven",
                "twelve",
                "thirteen",
                "fourteen",
                "fifteen",
                "sixteen",
                "seventeen",
                "eighteen",
                "nineteen",
                "twenty",
            ),
            1,
        )
    },
    **dict.fromkeys(("a", "single", "a single"), 1),
    **dict.fromkeys(("pair", "a pair", "one pair", "both"), 2),
    **dict.fromkeys(("dozen", "a dozen", "one dozen"), 12),
    **dict.fromkeys(("half a dozen", "half dozen"), 6),
    "two dozen": 24,
    "three dozen": 36,
    "four dozen": 48,
}


def folded(words: str) -> str:
    """Words in the form in which they are compared: in lower case, with single spaces."""
    return " ".join(words.casefold().split())


def is_nothing(cell: str) -> bool:
    """Whether a cell has a word for nothing: "N/A", "-", "unknown".

    >>> is_nothing("N/A"), is_nothing(" – "), is_nothing("none of them")
    (True, True, False)
    """
    return folded(plain(cell)) in _NOTHING


def is_unknown(cell: str) -> bool:
    """Whether a cell says that a value is unknown: "?", "unknown"."""
    return folded(plain(cell)) in _UNKNOWN


def refuse_broken_formula(cell: str, field: str) -> None:
    """Refuse the text that a spreadsheet writes for a formula without a value.

    Raises:
        Invalid: for `field`.
    """
    if _BROKEN_FORMULA.fullmatch(plain(cell).lower()):
        raise invalid(
            field,
            f"“{cell.strip()}” is what a spreadsheet writes where a formula has no value. Write the value there, or "
            "empty the cell, and save the sheet once more.",
        )


_DITTO = frozenset(
    ('"', "''", "〃", "″", "”", '",,', "ditto", "do.", "same", "same as above", "as above", "idem", "↓", "^")
)


def refuse_ditto(cell: str, field: str) -> None:
    """Refuse a ditto mark, which stands for the cell above.

    Raises:
        Invalid: for `field`.
    """
    if folded(cell) in _DITTO or folded(plain(cell)) in _DITTO:
        raise invalid(
            field,
            f"“{cell.strip()}” stands for the cell above it; write here what that one says, since rows may be sorted.",
        )


def read_line(text: str, field: str, most: int = LINE_MOST) -> str:
    """A line of text with single spaces.

    Raises:
        Invalid: for `field`, if it is too long or cannot be shown.
    """
    tidy = " ".join(text.split())
    if len(tidy) > most:
        raise invalid(field, f"“{tidy[:20]}…” has {len(tidy)} characters; {most} are the most.")
    if not can_be_shown(tidy):
        raise invalid(field, f"“{''.join(filter(can_be_shown, tidy))[:20]}” has characters that cannot be shown.")
    return tidy


def is_code(cell: str) -> bool:
    """Whether a cell is the code of a tag."""
    try:
        return bool(read_code(cell))
    except Invalid:
        return False


def is_bare(cell: str) -> bool:
    """Whether a cell is a number without a unit."""
    return _BARE.fullmatch(plain(cell)) is not None


def read_length(text: str, unit: Unit | None, measure: str = "") -> int:
    """Millimeters. A bare number is in `unit`, or in the `measure` of the column's name: "in", "cm" or "mm".

    Raises:
        Invalid: for `length`; the sentence says how to write it.
    """
    typed = plain(text).lower()
    if not any(character.isdecimal() for character in typed):
        raise invalid("length", f"“{text.strip()[:40]}” needs a number and a unit: 10 ft or 3 m.")
    typed = re.sub(r"(?<=')-(?=\d)", " ", typed)  # 10'-6"
    if measure and _BARE.fullmatch(typed):
        return parse_length(f"{typed} {measure}")
    if _BARE.fullmatch(typed):
        if unit is None:
            raise invalid(
                "length",
                f"“{typed[:40]}” needs a unit, and nobody has said what bare numbers are; write it like 10 ft or 3 m.",
            )
        return parse_length(f"{typed} {_UNIT_WORDS[unit]}")
    return parse_length(re.sub(r"(?<=\d)-(?=[a-z])", " ", typed))


def length_in(words: str) -> tuple[int, str] | None:
    """The only length in a text, in millimeters, and how it is written there; None if there is none, or several.

    >>> length_in("10ft XLR"), length_in("XLR 3 M-F"), length_in("Cat5 trunk, 30 m")
    ((3048, '10ft'), None, (30000, '30 m'))
    """
    if _TWO_LENGTHS.search(plain(words).lower()):
        return None
    lengths = dict[int, str]()
    for length in _LENGTH_IN.findall(plain(words).lower()):
        with suppress(Invalid):  # for example longer than any field: it is not the length of a cable
            lengths[read_length(length, None)] = length
    return next(iter(lengths.items())) if len(lengths) == 1 else None


def is_length(words: str) -> bool:
    """Whether a text is a length with its unit and nothing else."""
    try:
        parse_length(words)
    except Invalid:
        return False
    return True


def read_money(text: str) -> int:
    """Cents, from dollars as spreadsheets write them: `$18.50`, `18.5`, `USD 18`, or with a decimal comma, `1.234,50`.

    Raises:
        Invalid: for `price`.
    """
    typed = re.sub(r"^us(d|\$) ?| ?usd$| ?\$$| (?:each|ea\.?)$", "", plain(text).lower())
    if _CURRENCY.search(typed):
        raise invalid(
            "price",
            f"“{text.strip()[:30]}” is in another currency, and prices here are in dollars. Write it in dollars, like "
            "18.50, or empty the cell.",
        )
    if _DECIMAL_COMMA.fullmatch(typed):
        typed = typed.translate(str.maketrans(",.", ".,"))
    return parse_money(re.sub(r"\.(\d)$", r".\g<1>0", typed))


def read_count(text: str) -> int:
    """A number of pieces from 1 to `COUNT_MOST`, in digits or as "a dozen".

    Raises:
        Invalid: for `count`.
    """
    typed = re.sub(r" (?:pcs?\.?|pieces?|ea\.?|each|cables?)$", "", folded(plain(text)))
    match = _COUNT.fullmatch(typed)
    count = int(match[1]) if match else number_in_words(typed) or 0
    if not 1 <= count <= COUNT_MOST:
        raise invalid("count", f"“{text.strip()[:20]}” is no number of pieces; enter 1 to {COUNT_MOST}.")
    return count


def number_in_words(words: str) -> int | None:
    """The number that a text stands for, like 3 or "half dozen"; None if it is no number."""
    typed = folded(plain(words))
    return int(typed) if typed.isascii() and typed.isdigit() else _NUMBER_WORDS.get(typed)


def read_gauge(text: str) -> int:
    """A wire gauge in AWG.

    Raises:
        Invalid: for `gauge_awg`.
    """
    match = _GAUGE.fullmatch(plain(text).lower())
    gauge = int(match[1]) if match else -1
    if not THICKEST_AWG <= gauge <= THINNEST_AWG:
        raise invalid(
            "gauge_awg",
            f"“{text.strip()[:20]}” is no wire gauge; enter a whole number from {THICKEST_AWG} to {THINNEST_AWG}.",
        )
    return gauge
