"""Tag codes: six characters that can be read by flashlight, spoken over a radio, and checked.

Five characters are random, the sixth is the ISO/IEC 7064 MOD 37-2 check character of the five, which
catches every single wrong character and every swap of neighbors. All six come from `ALPHABET`, 27 symbols
without look-alikes. MOD 37-2 has 37 check characters, so of the 27^5 = 14,348,907 beginnings only the
10,470,808 whose check character is in the alphabet are ever issued. Six random characters of the alphabet make a
valid code once in 37 times, and a random valid code is one of a program's 500 pieces once in 20,942 times.

>>> read_code(" 7k3-m9u ")
'7K3M9U'
"""

import re
from collections.abc import Iterable
from random import Random

from stdnum.iso7064 import mod_37_2

from service.kit.problems import Invalid, invalid
from service.kit.text import plain

ALPHABET = "234679ACDEFGHJKMNPQRTUVWXYZ"
LENGTH = 6

_MAY_BE = {
    "0": "D or Q",
    "O": "D or Q",
    "1": "7 or T",
    "I": "7 or T",
    "L": "7 or T",
    "5": "6 or 9",
    "S": "6 or 9",
    "8": "3 or 6",
    "B": "3 or 6",
}
_ALIKE = (
    "0ODQUC",
    "1ILT7J",
    "2Z7",
    "38B6E",
    "5S69G",
    "6GC",
    "8BR",
    "UVY",
    "VWN",
    "MNH",
    "EF",
    "FP",
    "PR",
    "KX",
    "4A",
)
_CODE_AT_END = re.compile(r"/t/([^/?#\s]+)/?(?:[?#]\S*)?\Z", re.IGNORECASE)


def make_code(random: Random) -> str:
    """A random code that may be issued; pass `random.SystemRandom()` for tags, and a seeded generator for the demo."""
    while True:
        body = "".join(random.choices(ALPHABET, k=LENGTH - 1))
        check = mod_37_2.calc_check_digit(body)
        if check in ALPHABET:
            return body + check


def read_code(text: str) -> str:
    """The code in `text`, upper or lower case, without its spaces and dashes; raises `Invalid` for the field `code`."""
    code = _bare(text)
    for character in code:
        if character in _MAY_BE:
            raise _refused(f"A code never has the character {character}: is it {_MAY_BE[character]}?")
        if character not in ALPHABET:
            raise _refused(f"A code never has the character “{character}”; it has letters and digits only.")
    if len(code) != LENGTH:
        raise _refused(f"A code has {LENGTH} characters, and “{code[:40]}” has {len(code)}; look at the tag again.")
    if not mod_37_2.is_valid(code):
        raise _refused(f"{code} is no code: a character is wrong, or two are swapped; look at the tag again.")
    return code


def nearest(text: str, codes: Iterable[str]) -> list[str]:
    """The existing `codes` that `text` may mean: they differ by one character or by one swap of neighbors.

    Look-alikes come first, then swaps, then the rest. A person picks one of them.
    """
    typed = _bare(text)
    ranked = [(rank, code) for code in codes if (rank := _distance(typed, code)) is not None]
    return [code for _, code in sorted(ranked)]


def code_in_url(text: str) -> str | None:
    """The code at the end of a scanned tag's text, `…/T/7K3M9U`. Any host is accepted, since a program may move."""
    at_end = _CODE_AT_END.search(text.strip())
    try:
        return read_code(at_end[1]) if at_end else None
    except Invalid:
        return None


def _bare(text: str) -> str:
    return re.sub("[ -]", "", plain(text)).upper()


def _distance(typed: str, code: str) -> int | None:
    """0 if they are equal, 1 for a look-alike, 2 for a swap, 3 for any other single character, None for more."""
    if len(typed) != len(code):
        return None
    differ = [place for place in range(LENGTH) if typed[place] != code[place]]
    if not differ:
        return 0
    first, last = differ[0], differ[-1]
    if len(differ) == 1:
        pair = {typed[first], code[first]}
        return 1 if any(pair <= set(alike) for alike in _ALIKE) else 3
    swapped = len(differ) == 2 and last == first + 1 and typed[first] + typed[last] == code[last] + code[first]
    return 2 if swapped else None


def _refused(sentence: str) -> Invalid:
    return invalid("code", sentence)
