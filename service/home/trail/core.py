"""The audit trail in words. Pure."""

from collections.abc import Mapping
from typing import Any


def action_words(action: str) -> str:
    """The key of an action in words.

    >>> action_words("calendar.link_made")
    'Calendar link made'
    """
    return action.replace(".", " ").replace("_", " ").capitalize()


def detail_words(detail: Any, names: Mapping[str, str]) -> str:
    """The detail of an entry in words; `names` has the names of people by their ids. A pair is before and after.

    >>> detail_words({"role": "crew", "turn": [2, 1], "codes": ["7K3M9U", "ACDEFG"]}, {})
    'role: crew; turn: 2 → 1; codes: 7K3M9U, ACDEFG'
    """
    return "; ".join(
        f"{name.replace('_', ' ')}: {(', ' if name == 'codes' else ' → ').join(_each(value, names))}"
        for name, value in (detail or {}).items()
    )


def _each(value: Any, names: Mapping[str, str]) -> list[str]:
    values = value if isinstance(value, list) else [value]
    return ["–" if one in (None, "") else names.get(str(one), str(one)) for one in values]
