"""Recognizing what is not a cable, hub or trunk with a known wiring, by the words that sheets use for it. Pure.

A sheet of a band's gear also has stands, boxes and other leads. A word for such a thing keeps a row out until somebody
says what it is. A word that is missing here causes a wrong row; a word too many causes a question.

>>> other_gear("Drum box"), other_gear("Stage box"), other_gear("Cable to the tool box"), other_gear("Cable tester")
('box', None, None, 'tester')
>>> other_wiring("XLR Y-cable"), other_wiring("TS instrument cable"), other_wiring("XLR to TRS")
('a Y-cable', 'a lead of two contacts (tip and sleeve)', None)
"""

import re
from functools import lru_cache

from service.exchange.sheets.core.connectors import ASIDE, kind_words
from service.kit.text import plain

_OTHER = re.compile(
    r"\b(?:box(?:es)?|stands?|booms?|tripods?|testers?|multimeters?|adapt[eo]rs?|turnarounds?|couplers?|barrels?"
    r"|gender changers?|splitters?|isolators?|transformers?|clips?|clamps?|holders?|hangers?|hooks?|straps?|zip ties?"
    r"|cable ties?|wraps?|tape|labels?|ramps?|covers?|reels?|spools?|rolls?|cutters?|strippers?|crimpers?|pliers"
    r"|solder(?:ing)?|irons?|screwdrivers?|tools?|screws?|bolts?|fuses?|gloves?|patch ?bays?|panels?|plates?"
    r"|amps?|amplifiers?|mixers?|consoles?|desks?|receivers?|transmitters?|antennas?|routers?|switch(?:es)?|machines?"
    r"|lights?|lamps?|batter(?:y|ies)|chargers?|headphones?|head ?sets?|earbuds?|laptops?|tablets?|computers?"
    r"|windscreens?|pop filters?|mounts?|bags?|cases?|carts?|racks?|doll(?:y|ies)|chairs?|tables?|ladders?"
    r"|mics?|microphones?|dis?|direct injections?|connectors?|plugs?|jacks|shells|mallets?|cymbals?|pedals?)\b"
)
"""Nouns for other things than cables, hubs and trunks."""
_SERVED = re.compile(
    r"mics?|microphones?|dis?|amps?|mixers?|consoles?|desks?|bags?|cases?|carts?|racks?|receivers?|lights?|lamps?"
    r"|transmitters?|laptops?|tables?|cymbals?|pedals?|switch(?:es)?|panels?|machines?"
)
"""Things after which a cable is often named, because it serves them or is kept there: then it has a length."""
_DATA_BOX = re.compile(r"\b(?:network|ethernet|usb|data|wi-?fi|internet)\W+(?:\w+\W+)?(?:hubs?|switch(?:es)?)\b")
_LEADS = (
    (
        "a Y-cable",
        re.compile(
            r"\by[ -]?(?:cables?|cords?|leads?|split)|\bsplit(?:ter)? (?:cable|cord|lead)|\bwye\b"
            r"|\bxlr\W+y\b|\by\W+xlr\b"
        ),
    ),
    (
        "a lead of two contacts (tip and sleeve)",
        re.compile(r"\bts\b|\btip[ /-]sleeve|\bunbalanced\b|\b(?:instrument|guitar|bass) (?:cable|cord|lead)"),
    ),
    ("an insert cable", re.compile(r"\binserts? (?:cable|cord|lead)")),
    (
        "a lead with small plugs",
        re.compile(
            r"\b[23][.,]5 ?mm\b|(?<![\d/])1/8(?![\d/])|\bmini[ -]?(?:jack|xlr)|\bta[345]f?\b|\b(?:aux|headphones?) "
            r"(?:cable|cord|lead|ext)"
        ),
    ),
    ("a lead of four pins or more", re.compile(r"(?<![\d.])[4-7][ -]?pins?\b|\bxlr-?[4-7]\b")),
    (
        "a lead of two like ends",
        re.compile(r"\bm(?:ale)?(?: ?[-/] ?| to )m(?:ale)?\b|\bf(?:emale)?(?: ?[-/] ?| to )f(?:emale)?\b"),
    ),
    (
        "a lead of two like ends",
        re.compile(r"\bxlr[ -]?\(?([fm])(?:emale|ale)?\)?\W+(?:to\W+)?xlr[ -]?\(?\1(?:emale|ale)?\b"),
    ),
    ("a lead from a TRS plug to an XLR plug", re.compile(r"\btrs\b.*\bxlr[ -]?\(?m(?:ale)?\b")),
    ("a lead with an open end", re.compile(r"\bbare (?:wires?|ends?)\b|\bpig ?tails?\b|\bunterminated\b")),
    (
        "a lead with other connectors",
        re.compile(
            r"\bbnc\b|\bcombo\b|\bcoax|\boptical\b|\bsdi\b|\bdvi\b|\bdisplay ?port\b|\bword ?clock\b|\btelephone\b"
            r"|\brj-?11\b"
        ),
    ),
)
"""Leads without a built-in wiring, and the pattern of their words."""
_QUARTER = re.compile(r"quarter|(?<![\d/])1/4(?![\d/])|¼|\bjack\b|6[.,]35|\bphone plug\b")
_THREE_CONTACTS = re.compile(r"\btrs\b|\bstereo\b|\bbalanced\b|\btip[ /-]ring")
_BOXES = re.compile(r"\bboxes\b")
_TO = r" ?(?:-|to|thru|through) ?"
_RANGES = (
    re.compile(rf"^(?:nos?\b\.? ?)?0*(?P<first>\d{{1,3}}){_TO}0*(?P<last>\d{{1,3}})$"),
    re.compile(rf"# ?0*(?P<first>\d{{1,3}}){_TO}#? ?0*(?P<last>\d{{1,3}})\b"),
    re.compile(
        r"\b(?:cable|lead|cord|xlrs?|trs|nos\.?|numbers) "
        rf"#?0*(?P<first>\d{{1,3}}){_TO}#?0*(?P<last>\d{{1,3}})\b"
    ),
    re.compile(rf"\b(?P<stem>[a-z]+[ -]?)0*(?P<first>\d{{1,3}}){_TO}(?P=stem)0*(?P<last>\d{{1,3}})\b"),
)


def other_gear(words: str, *, has_length: bool = False) -> str | None:
    """The word that names other gear than a cable, a hub or a trunk; None if there is none.

    The last word before an aside says what a thing is: a “hub cable” is a cable, a “cable bag” a bag. `has_length`
    says that a length is given, so that “Snare mic” is the cable of that microphone.
    """
    text = plain(words).lower()
    data = _DATA_BOX.search(text)
    if data:
        return data[0]
    part = ASIDE.split(text, maxsplit=1)[0]
    ours = [match.span() for pattern in kind_words().each.values() for match in pattern.finditer(part)]
    others = list(_OTHER.finditer(part))
    if not others or any(end >= others[-1].end() for _, end in ours):
        return None
    word = others[-1][0]
    return None if has_length and _SERVED.fullmatch(word) else word


def other_wiring(words: str) -> str | None:
    """The name of a lead without a built-in wiring that the words describe; None if they describe none."""
    text = plain(words).lower()
    return next((name for name, pattern in _LEADS if pattern.search(text)), None)


def unclear_plug(words: str) -> bool:
    """Whether the words name a quarter-inch plug without the number of its contacts."""
    text = plain(words).lower()
    return bool(_QUARTER.search(text) and not _THREE_CONTACTS.search(text))


def of_several(words: str) -> bool:
    """Whether the words name several pieces, as headings do."""
    lowered = plain(words).lower()
    return bool(_BOXES.search(lowered) or _plural(kind_words().plural).search(lowered))


def range_in(words: str) -> tuple[str, int] | None:
    """A range of numbers that may mean several pieces, and how many; None if there is none.

    >>> range_in("Mic cable #1-8"), range_in("XLR-01 to XLR-04"), range_in("Marimba 1-2"), range_in("M1 to M2")
    (('#1-8', 8), ('xlr-01 to xlr-04', 4), None, None)
    """
    text = plain(words).lower()
    for pattern in (*_RANGES, _plural_range(kind_words().plural)):
        match = pattern.search(text)
        if match:
            number = int(match["last"]) - int(match["first"]) + 1
            if number > (2 if "stem" in pattern.groupindex else 1):  # “M1 to M2” is a cable between two places
                return match[0], number
    return None


@lru_cache(maxsize=8)
def _plural(words: str) -> re.Pattern[str]:
    return re.compile(rf"\b{words}\b")


@lru_cache(maxsize=8)
def _plural_range(words: str) -> re.Pattern[str]:
    return re.compile(rf"\b{words} #?0*(?P<first>\d{{1,3}}){_TO}#?0*(?P<last>\d{{1,3}})\b")
