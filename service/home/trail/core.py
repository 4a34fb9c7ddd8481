"""The trail in words. Pure."""

from typing import Any


def action_words(action: str) -> str:
    """An action's key to read.

    >>> action_words("calendar.link_made")
    'Calendar link made'
    """
    return action.replace(".", " ").replace("_", " ").capitalize()


def detail_words(detail: Any) -> str:
    """What was kept beside an entry, to read: `{"role": "crew"}` as "role crew"."""
    if not isinstance(detail, dict):
        return "" if detail is None else _plain(detail)
    return "; ".join(f"{name.replace('_', ' ')} {_plain(value)}" for name, value in detail.items())


def _plain(value: Any) -> str:
    if value in (None, ""):
        return "–"
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)
