"""Recognizing kinds of gear, wirings and numbers of lanes by the words that sheets use for them. Pure.

>>> kind_in("Mic cable"), kind_in("Sub snake"), kind_in("Microphone")
('cable', 'hub', None)
>>> wiring_in('XLR to 1/4" TRS', "cable"), wiring_in("DB25", "trunk"), wiring_in("banana", "cable")
('xlr3-to-trs', 'd25x8', None)
>>> lanes_in("stagebox 16ch"), lanes_in("twelve-channel snake"), lanes_in("16x4"), lanes_in("Hub 3 ch 9-16")
(16, 12, 20, None)
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from service.gear.core import KINDS
from service.kit.text import plain


@dataclass(frozen=True)
class KindWords:
    """The words for kinds of gear as patterns: `each` by kind, singular or plural; words of any kind that are `sure` in
    every context, and `loose` ones that name gear only if other words are about sound; and the `plural` words, as the
    text of a pattern.
    """

    each: Mapping[str, re.Pattern[str]]
    sure: re.Pattern[str]
    loose: re.Pattern[str]
    plural: str


def kind_words() -> KindWords:
    """The words for all kinds of gear."""
    return _words_of(tuple(KINDS))


@lru_cache(maxsize=8)
def _words_of(names: tuple[str, ...]) -> KindWords:
    kinds = [KINDS[name] for name in names]
    all_words = {kind.name: "|".join(filter(None, (kind.words, kind.loose_words))) for kind in kinds}
    return KindWords(
        {name: re.compile(rf"\b(?:{words})(?:e?s)?\b") for name, words in all_words.items()},
        re.compile(rf"\b(?:{'|'.join(kind.words for kind in kinds)})(?:e?s)?\b"),
        re.compile(rf"\b(?:{'|'.join(kind.loose_words for kind in kinds if kind.loose_words)})(?:e?s)?\b"),
        f"(?:{'|'.join(all_words.values())})e?s",
    )


ASIDE = re.compile(r"\b(?:to|from|for|into|with|at|near|in|on|by|of)\b|[,;:(/\[]| - ")
"""Where the words that say what a thing is end, and others begin that say where it goes or how it looks."""

_XLR = re.compile(r"\bxlr|\b3[ -]?pin\b|\bcannon\b")
_TRS = re.compile(r"\btrs\b|quarter|1/4|\bjack\b|6[.,]35|\bphone plug\b")
_D25 = re.compile(r"\bd-?b?-?(?:sub)?[ -]?25\b|\b25[ -](?:way|pin)\b|\bdsub\b|\bd-sub\b")
_8P8C = re.compile(r"\b8p8c\b|\brj-?45\b|\bcat(?:egory)?[ -]?[5-8]|\bethernet\b")
_EIGHT = re.compile(r"\b8\b|\beight\b|x8\b")
_FOUR = re.compile(r"\b4\b|\bfour\b|x4\b")
_NUMBERS = {
    "two": 2,
    "four": 4,
    "six": 6,
    "eight": 8,
    "ten": 10,
    "twelve": 12,
    "sixteen": 16,
    "twenty": 20,
    "twenty-four": 24,
    "thirty-two": 32,
}
_LANES = re.compile(
    rf"(?<![\w.-])(?P<number>\d{{1,2}}|{'|'.join(sorted(_NUMBERS, key=len, reverse=True))})(?: |-)?"
    r"(?:ch(?:an(?:nels?)?|s)?|lines?|lanes?|pairs?)\b(?!\.? ?#?\d)"
)
_SENDS = re.compile(r"(?<![\w.])(\d{1,2}) ?[x×] ?(\d{1,2})(?![\w.'\"]| ?(?:ft|feet|m|meters?|metres?|in)\b)")
"""The lines of a snake to the mixer and back, as in 16x4."""
_SENDS_SLASH = re.compile(r"(?<![\w./])(12|16|20|24|28|32|40|48) ?/ ?(0|2|4|6|8|12|16)(?![\w./])")
_USUAL_LANES = re.compile(
    r"\b(?:stage ?box|snake|multi ?core) (16|24|32|48)\b(?! ?(?:ft|feet|foot|m|meters?|in)\b|['\"#])"
)
"""A number after such a word that is a number of channels rather than the number of a piece (common practice, no
source)."""
_WAYS = re.compile(r"(?<![\w.-])(4|6|8|10|12|16|20|24|32|48)[ -]?way\b")
_NO_MICROPHONE = re.compile(
    r"\b(?:loud)?speakers?\b|\bspeakon\b|\bnl[248]\b|\bbanana\b|(?<!phantom )\bpower(?:con)?\b|\bmains\b|\biec\b"
    r"|\bedison\b|\bextension\b|\bcamlock\b|\b(?:ac|dc) (?:cables?|cords?|leads?)\b|\bhdmi\b|\bvga\b|\brca\b|\bmidi\b"
    r"|\bextn?\b\.? ?(?:cables?|cords?|leads?)\b|\bdrop cords?\b"
    r"|\bdmx\b|\busb\b|\bthunderbolt\b|\bfib(?:er|re)\b"
)


def no_microphone_in(words: str) -> str | None:
    """The word that marks a mains, speaker or data lead; None if there is none.

    Such a lead is never imported as a microphone cable: a cable tester must not be connected to it.
    """
    match = _NO_MICROPHONE.search(words.lower())
    return match[0] if match else None


def kind_in(words: str) -> str | None:
    """The kind of gear that the words name; None if they name none."""
    plain = words.lower().strip()
    if plain in KINDS:
        return plain
    return kind_described(plain)


def kind_described(words: str) -> str | None:
    """The kind of gear that the words describe; None if they name none.

    If they name several, it is the last one before an aside, as in English.

    >>> [kind_described(words) for words in ("Cable to hub 2", "hub cable, 10 ft", "8 ch hub (trunk B)")]
    ['cable', 'cable', 'hub']
    """
    lowered = words.lower()
    for part in (ASIDE.split(lowered, 1)[0], lowered):
        named = [  # the longer name first: a “sub snake” is not a snake
            (match.end(), -match.start(), kind)
            for kind, pattern in kind_words().each.items()
            for match in pattern.finditer(part)
        ]
        if named:
            return max(named)[2]
    return None


def wiring_in(words: str, kind: str) -> str | None:
    """The built-in wiring that the words name for this kind of gear; None if they name none.

    A box breaks a multicore connector out into single lines; gear without a single XLR line has several of them.
    """
    plain = words.lower()
    xlr, trs, d25, rj = (bool(pattern.search(plain)) for pattern in (_XLR, _TRS, _D25, _8P8C))
    screened = "-screened" if "screen" in plain or "shield" in plain or "stp" in plain else ""
    if d25:
        return "d25-to-xlr8" if xlr or KINDS[kind].is_box else f"d25x8{screened}"
    if rj:
        return "8p8c-to-xlr4" if xlr or KINDS[kind].is_box else f"8p8c{screened}"
    if xlr and "xlr3" not in KINDS[kind].wirings:
        return "xlr3x4" if _FOUR.search(plain) and not _EIGHT.search(plain) else "xlr3x8"
    if xlr:
        return "xlr3-to-trs" if trs else "xlr3"
    return "trs" if trs else None


def sends_in(words: str) -> bool:
    """Whether the words have a snake's lines and returns, as in 16x4, which is not a number of pieces."""
    return _SENDS.search(words) is not None


def lanes_in(words: str) -> int | None:
    """The number of channels in the words, the largest if there are several; None if there is none."""
    text = plain(words).lower()
    numbers = [int(_NUMBERS.get(match["number"], match["number"])) for match in _LANES.finditer(text)]
    numbers += [int(match[1]) + int(match[2]) for match in _SENDS.finditer(text)]
    numbers += [int(match[1]) + int(match[2]) for match in _SENDS_SLASH.finditer(text)]
    numbers += [int(match[1]) for match in _USUAL_LANES.finditer(text)]
    numbers += [int(match[1]) for match in _WAYS.finditer(text)]
    return max(numbers, default=0) or None
