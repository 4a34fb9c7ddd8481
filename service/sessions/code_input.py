"""Codes as they were typed or scanned, one or many: each on its own line, apart by commas, or by spaces."""

import re

from service.kit.codes import code_in_url, read_code
from service.kit.problems import Invalid


def read_codes(text: str) -> tuple[str, ...]:
    """The codes in what was typed or scanned, each once, in their order; what is no code is left as it is.

    >>> read_codes("7K3 M9U, https://cables.example/T/7K3M9U")
    ('7K3M9U',)
    """
    codes: list[str] = []
    for part in re.split(r"[,;\n\r]+", text):
        codes += [_bare(part)] if _is_code(part) else [_bare(piece) for piece in part.split()]
    return tuple(dict.fromkeys(codes))


def _bare(text: str) -> str:
    scanned = code_in_url(text)
    return scanned or (read_code(text) if _is_code(text) else text)


def _is_code(text: str) -> bool:
    try:
        read_code(text)
    except Invalid:
        return False
    return True
