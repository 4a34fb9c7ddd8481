"""Reading what a cell says about an item's state, or about how it looks."""

import re
from dataclasses import dataclass

from service.exchange.sheets.core.cells import folded
from service.gear.core import ItemState
from service.kit.problems import invalid
from service.kit.text import plain

_WORKS = frozenset(
    (
        "good",
        "ok",
        "okay",
        "works",
        "working",
        "yes",
        "y",
        "fine",
        "new",
        "used",
        "pass",
        "passed",
        "operational",
        "functional",
        "true",
        "✓",
        "✔",
        "☑",
        "✅",
    )
)


_LOOKS = frozenset(
    (
        "fair",
        "worn",
        "poor",
        "old",
        "rough",
        "scuffed",
        "scratched",
        "dirty",
        "dented",
        "beat up",
        "beat-up",
        "average",
        "acceptable",
        "decent",
        "so-so",
        "excellent",
        "great",
        "very good",
        "like new",
        "like-new",
        "mint",
        "perfect",
        "a bit worn",
        "slightly worn",
        "well worn",
        "very worn",
    )
)


_STATES = {
    **dict.fromkeys(("in service", "in_service", "in use", "active", "ready", "deployed"), ItemState.IN_SERVICE),
    **dict.fromkeys(("spare", "spares", "backup", "reserve", "stored", "extra", "in storage"), ItemState.SPARE),
    **dict.fromkeys(
        (
            "quarantined",
            "quarantine",
            "bad",
            "broken",
            "dead",
            "defective",
            "fail",
            "failed",
            "faulty",
            "no",
            "n",
            "not working",
            "damaged",
            "not ok",
            "no good",
            "do not use",
            "unusable",
            "out of service",
            "intermittent",
            "false",
            "✗",
            "✘",
            "❌",
        ),
        ItemState.QUARANTINED,
    ),
    **dict.fromkeys(
        (
            "in repair",
            "in_repair",
            "repair",
            "being repaired",
            "needs repair",
            "needs fixing",
            "out for repair",
            "in the shop",
            "at the shop",
        ),
        ItemState.IN_REPAIR,
    ),
    **dict.fromkeys(
        ("retired", "retire", "disposed", "discarded", "trash", "trashed", "sold", "scrapped", "gone", "junk"),
        ItemState.RETIRED,
    ),
    **dict.fromkeys(("lost", "missing", "stolen", "not found"), ItemState.LOST),
}


_BETWEEN = re.compile(r" ?[/,;&] ?|-| (?:but|and|to) ")


@dataclass(frozen=True)
class StateCell:
    """What a cell says about a state: the state, or words about how the item looks, which name no state.

    `works` marks a state that only says that the item can be used, as a spare can be, too.
    """

    state: ItemState | None
    condition: str = ""
    works: bool = False


def is_gone(cell: str) -> bool:
    """Whether a cell says that an item is gone, as a place like “LOST” does."""
    return _STATES.get(folded(plain(cell)).rstrip("?!. ")) in (ItemState.RETIRED, ItemState.LOST)


def read_state(text: str) -> StateCell:
    """A state by any of its common words, or how the item looks.

    Raises:
        Invalid: for `state`; the sentence lists the words.
    """
    shown = re.sub(r"(?i) cond(?:ition)?$", "", " ".join(plain(text).replace("!", "").split()).rstrip(". "))
    word = shown.lower()
    if word in _STATES:
        return StateCell(_STATES[word])
    if word in _WORKS:
        return StateCell(ItemState.IN_SERVICE, works=True)
    if word in _LOOKS or all(part in _WORKS | _LOOKS for part in _BETWEEN.split(word)):
        return StateCell(None, shown)
    words = ", ".join(state.value.replace("_", " ") for state in ItemState)
    if word == "x":
        raise invalid("state", "“x” may mean good or bad; write in service, or quarantined if it is bad.")
    raise invalid(
        "state",
        f"“{text.strip()[:30]}” is no state; write one of {words}, or how it looks: good, fair, worn, poor.",
    )
