"""Normalizing typed text: phones insert curly quotes, primes, wide digits and long dashes by themselves."""

import re
import unicodedata
from uuid import UUID

from service.kit.problems import NotFound, invalid

SHOWN = r"[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\uffff]*"
"""Characters that typed text may keep, as a regular expression with the same meaning in Python and JSON Schema
(ECMA-262): no control characters, and no marks that reverse the direction of text or are invisible. The joiners of
emoji, and characters newer than our Unicode tables, are kept.
"""
_SHOWN = re.compile(SHOWN)
_LOOKS = {
    **dict.fromkeys("‘’‛′`´ʹʼ", "'"),
    **dict.fromkeys("“”‟″ʺ", '"'),
    **dict.fromkeys("‐‑‒–—―−", "-"),
}


def plain(text: str) -> str:
    """`text` with digits of any script, wide letters, quotes, dashes and spaces as ASCII, trimmed.

    Invisible marks are dropped. Superscripts and fractions stay as they are, so that 10² is never 102.
    """
    if text.isascii() and text.isprintable() and "`" not in text:
        return text.strip()  # most cells of a large sheet are like this, and nothing in them changes
    return "".join(map(_plain, text)).strip()


def one_line(text: str) -> str:
    """`text` on one line and without control characters, for formats that are read line by line (mail, calendars)."""
    spaced = " ".join(text.split())
    return "".join(filter(can_be_shown, spaced))


def can_be_shown(text: str) -> bool:
    """Whether all of a text can be shown and stored: only characters of `SHOWN`, and no half of a surrogate pair.

    >>> can_be_shown("Frame 3 👩\u200d🎤"), can_be_shown("a\0b"), can_be_shown("\u202eabc"), can_be_shown("\ud83d")
    (True, False, False, False)
    """
    return _SHOWN.fullmatch(text) is not None and not any("\ud800" <= character <= "\udfff" for character in text)


def readable(text: str) -> str:
    """The trimmed text, if all of it can be shown and stored.

    Raises:
        Invalid: it has characters that no keyboard types.
    """
    if not can_be_shown(text):
        raise invalid("note", "This text has characters that cannot be shown. Type it again.")
    return text.strip()


def alike(one: str, other: str) -> bool:
    """Whether two names are equal, ignoring case in any script, Unicode composition and invisible marks.

    Databases cannot decide it: SQLite's `lower` handles ASCII only, and PostgreSQL's depends on its locale.
    """
    return folded(one) == folded(other)


def folded(name: str) -> str:
    """A key that two names share if and only if they are `alike`."""
    seen = "".join(character for character in name if unicodedata.category(character) != "Cf")
    return unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", seen).casefold())


def _plain(character: str) -> str:
    if character.isdecimal():
        return str(unicodedata.decimal(character))
    if "！" <= character <= "～":  # the wide forms of ASCII, U+FF01 to U+FF5E
        return chr(ord(character) - 0xFEE0)
    if character.isspace():
        return " "
    if unicodedata.category(character) == "Cf":
        return ""
    return _LOOKS.get(character, character)


def is_id(text: str) -> bool:
    """Whether a text is an id as the service writes it.

    >>> is_id("12345678-1234-5678-1234-567812345678"), is_id("12345678123456781234567812345678"), is_id("7K3M9U")
    (True, False, False)
    """
    try:
        return str(UUID(text)) == text
    except ValueError:
        return False


def as_id(text: object) -> UUID | None:
    """The id in a field or an address; None if it is no id.

    >>> as_id("12345678123456781234567812345678"), as_id("7K3M9U"), as_id(None)
    (UUID('12345678-1234-5678-1234-567812345678'), None, None)
    """
    try:
        return UUID(str(text)) if text else None
    except ValueError:
        return None


def id_in_address(text: str, missing: str) -> UUID:
    """The id in an address.

    Args:
        missing: the sentence for what is no id, so that nothing can be there.

    Raises:
        NotFound: it is no id.
    """
    key = as_id(text)
    if key is None:
        raise NotFound(missing)
    return key


def parse_count(text: str, field: str, least: int, most: int) -> int:
    """A whole number from `least` to `most`; else `Invalid` for `field`.

    >>> parse_count(" 12 ", "days", 1, 60)
    12
    """
    typed = plain(text).removesuffix("%").strip()
    if not (typed.isascii() and typed.isdigit() and len(typed) < 10 and least <= int(typed) <= most):
        shown = f"“{typed[:20]}” will not do" if typed else "This is empty"
        raise invalid(field, f"{shown}; write a whole number from {least} to {most}.")
    return int(typed)
