"""Whole numbers as people type them."""

from service.kit.problems import invalid
from service.kit.typed import plain


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
