"""Whether a row is certainly a cable, a hub or a trunk, and how many pieces, by words of the trade. Pure.

No list of other things is complete (`other_gear`). So if a sheet describes its gear in words, only rows are imported
whose words say that they are a cable, hub or trunk; a mere name, as “low end” in a column of names, describes nothing.

>>> [names_known_gear(words) for words in ("10 ft XLR", "Snare mic", "Stage box", "fog juice", "fire wire", "audio
cord")] [True, True, True, False, False, True] >>> count_in("3 x XLR cable"), count_in("two mic cables"), count_in("XLR
cables"), count_in("12x4 snake") (3, 2, 0, None)
"""

import re
from collections.abc import Collection, Mapping, Sequence

from service.exchange.sheets.core.cells import number_in_words
from service.exchange.sheets.core.columns import plain_name
from service.exchange.sheets.core.connectors import ASIDE, kind_words, sends_in
from service.exchange.sheets.core.other_gear import of_several, other_gear
from service.exchange.sheets.core.sheet import SheetTable
from service.gear.core import KINDS, USUAL_KIND
from service.kit.text import plain

_SURE = re.compile(
    r"\b(?:xlr\w*|trs|d-?b?-?(?:sub)?[ -]?25|8p8c|rj-?45|cat(?:egory)?[ -]?[5-8]\w*|mics?|microphones?"
    r"|tie[ -]?lines?)\b"
)
"""Further words, beside those for the kinds, that only cables, hubs and trunks have."""
_OF_SOUND = re.compile(r"\b(?:audio|sound|balanced|signal|line|mic)\b")
"""Together with one of these words, a cord or a wire is a cable; alone it may be anything."""
_OTHERWISE = re.compile(
    r"\b(?:wheel|bike|hose|garden) hubs?\b|\b(?:drum|costume|prop|uniform|flag|wardrobe|storage|hardware|road"
    r"|percussion|guard|swim\w*|car) trunks?\b|\blead (?:sheets?|weights?|pencils?|pipes?|singers?)\b"
    r"|\b(?:dog|pencil) leads?\b|\bjumper cables?\b"
    r"|\b(?:lightning|fire ?wire|bulk|bungee|steel|winch|brake|bike|lock|aircraft|safety|security|phone|charg\w+) "
    r"(?:cables?|leads?)\b"
    r"|\bfire ?wires?\b|\b(?:chicken|guy|piano|trip|snare|barbed) wires?\b"
    r"|\bcable (?:trays?|pullers?|protectors?|guards?|mats?|ducts?|channels?|sleeves?|lubes?|locks?|organi[sz]ers?"
    r"|management|winders?|testers?|cars?|railings?|staples?|trunking)\b"
)
"""Other things with a word of the trade in their name."""
_DENIED = re.compile(r"\b(?:not|non|isn'?t)\b|\bno (?=[a-z])")
_GONE = re.compile(
    r"\b(?:do not use|don'?t use|broken|retired|lost|missing|stolen|scrapped|trashed|thrown (?:away|out)|defective"
    r"|faulty|out of service|needs? repair)\b|\((?:bad|dead|gone|junk)\)|- ?(?:bad|dead|gone|junk)$"
)
_SOLD = re.compile(r"^(?:sold|gone|junk|bad|dead)\b")
_DESCRIBES = frozenset(
    ("description", "desc", "item", "what", "gear", "equipment", "particulars", "type", "thing", "article")
)
_NUMBERS = frozenset(("no", "number", "id", "code", "label", "tag", "count"))
_OF_CABLES = re.compile(rf"(?:{KINDS[USUAL_KIND].words})s?")
_WORD = re.compile(r"[^\W\d]{3,}")
_TIMES = re.compile(
    r"^(?:qty\.?:? ?)?\(?(?P<before>\d{1,3})\)? ?(?:[x×](?![\w-])|[x×] ?(?=\d+ ?(?:ft|feet|foot|m|meters?)\b)"
    r"|each\b|ea\b|pcs?\b|pieces?\b|(?<=\)))"
    r"|(?:^|[\s(,-])[x×] ?(?P<after>\d{1,3})\)?$|\((?P<aside>\d{1,3})\)$"
    r"|\b(?:qty|quantity)\b\.?:? ?(?P<qty>\d{1,3})\)?$"
)
_LEADING = re.compile(
    r"^(?P<number>\d{1,3}|(?:half )?(?:an? )?dozen|(?:two|three) dozen|[a-z]+) (?=(?:[a-z/\d-]+ ){0,4}?[a-z]+s\b)"
)
_GROUP = re.compile(r"^(?:an? )?(?:pair|set|bundle|bag|bunch|pile|lot)s? of\b")


def names_known_gear(words: str) -> bool:
    """Whether words say that what they name is a cable, a hub or a trunk."""
    text = plain(words).lower()
    if text.endswith("?") or _DENIED.search(text) or is_only_in_name(words) or other_gear(words, has_length=True):
        return False
    return bool(
        _SURE.search(text)
        or kind_words().sure.search(text)
        or (kind_words().loose.search(text) and _OF_SOUND.search(text))
    )


def is_only_in_name(words: str) -> bool:
    """Whether a word of the trade is only part of the name of something else, as in “cable tray”."""
    return _OTHERWISE.search(plain(words).lower()) is not None


def gone_in(words: str, *, note: bool = False) -> str | None:
    """The words that say that an item is not in service; None if there are none. In a note they have to come first."""
    text = plain(words).lower()
    match = (_GONE.match(text) or _SOLD.match(text)) if note else _GONE.search(text)
    return match[0].strip("() -") if match else None


def count_in(words: str) -> int | None:
    """The number of pieces that the words name; 0 for a plural without a number, None for a singular."""
    text = " ".join(plain(words).lower().split())
    if sends_in(text):
        return None
    match = _TIMES.search(text)
    if match and names_known_gear(text):
        return int(next(filter(None, match.groups())))
    part = ASIDE.split(text, maxsplit=1)[0]
    if _GROUP.match(text) and names_known_gear(text):
        return 2 if "pair of" in text else 0
    if not of_several(part):
        return None
    leading = _LEADING.match(part)
    return (number_in_words(leading["number"]) if leading else None) or 0


def is_of_cables(name: str) -> bool:
    """Whether a column's name says that its cells are cables: “Cable”, “Lead no”."""
    words = set(plain_name(name).split())
    return any(map(_OF_CABLES.fullmatch, words)) and not words & _DESCRIBES


def describes(
    sheet: SheetTable, mapping: Sequence[str], passed_over: Collection[int], sections: Mapping[int, str]
) -> bool:
    """Whether a sheet describes its gear in words: in a column for the kind or the connectors, in one of descriptions
    or items, in headings, or in the names themselves.
    """
    by_key = {key: at for at, key in enumerate(mapping) if key}
    cells = {
        key: [line.cells[at] for line in sheet.lines if line.number not in passed_over and line.cells[at].strip()]
        for key, at in by_key.items()
    }
    labels = cells.get("label", [])
    names = {
        key: set(plain_name(sheet.header[by_key[key]]).split()) for key in ("label", "description") if key in by_key
    }
    if any(cells.get(key) for key in ("kind", "wiring")) or any(map(names_known_gear, sections.values())):
        return True
    if any(other_gear(cell, has_length=True) for cell in labels):
        return True
    if any(is_of_cables(sheet.header[by_key[key]]) for key in names):
        return False
    if any(
        words & _DESCRIBES and not words & _NUMBERS and any(map(_WORD.search, cells[key]))
        for key, words in names.items()
    ):
        return True
    if not names:  # an unknown column may have all the words
        return any(
            name and not key and any(_WORD.search(line.cells[at]) for line in sheet.lines)
            for at, (name, key) in enumerate(zip(sheet.header, mapping, strict=True))
        )
    return 2 * sum(map(names_known_gear, labels)) > len(labels)
