"""Gear: kinds, states, flags and the rules that join them. Pure."""

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from service.kit.quantities import Unit, format_length


class ItemState(StrEnum):
    """The state of an item."""

    IN_SERVICE = "in_service"
    SPARE = "spare"
    QUARANTINED = "quarantined"
    IN_REPAIR = "in_repair"
    RETIRED = "retired"
    LOST = "lost"


USABLE = (ItemState.IN_SERVICE, ItemState.SPARE)
"""States in which an item may be used."""
ASKED = (*USABLE, ItemState.QUARANTINED, ItemState.IN_REPAIR)
"""States in which an item has to be tested: all except retired and lost."""


class FlagKind(StrEnum):
    """The kinds of flags, which housekeeping or a person raises on an item."""

    DUE = "due"
    CLOSING = "closing"
    OVERDUE = "overdue"
    BLOCKED = "blocked"
    UNTESTED = "untested"
    SUSPECT = "suspect"
    AT_RISK = "at_risk"


class End(StrEnum):
    """The two ends of an item."""

    A = "A"
    B = "B"


class Gender(StrEnum):
    """The gender of a connector."""

    SOCKET = "socket"
    PLUG = "plug"


class PlaceKind(StrEnum):
    """What a place is."""

    FRAME = "frame"
    CASE = "case"
    SHELF = "shelf"
    OTHER = "other"


_KEPT_IN = (
    (PlaceKind.CASE, re.compile(r"\b(?:cases?|bags?|box(?:es)?|bins?|tubs?|totes?|drawers?|crates?|pouch(?:es)?)\b")),
    (PlaceKind.SHELF, re.compile(r"\b(?:shel(?:f|ves)|trucks?|trailers?|storage|closets?|lockers?|cabinets?)\b")),
    (PlaceKind.OTHER, re.compile(r"\b(?:carts?|singers?|mixers?|pits?|fields?|shops?|offices?|homes?)\b")),
)


def likely_kind(name: str) -> PlaceKind:
    """The kind that a place's name suggests: an instrument frame, unless a word in the name says otherwise.

    >>> [likely_kind(name).value for name in ("Marimba 1", "Rack 2", "Spares case", "Truck 2, shelf B", "Mixer cart")]
    ['frame', 'frame', 'case', 'shelf', 'other']
    """
    return next((kind for kind, words in _KEPT_IN if words.search(name.lower())), PlaceKind.FRAME)


@dataclass(frozen=True)
class Kind:
    """A kind of gear: its names and properties.

    `name` is the word in code and documents, `page` and `plural` those on pages; `has_length` says whether it has a
    length, `is_box` whether its connectors are panel sockets, `has_flag_tag` whether its tag is folded around it like a
    flag rather than stuck on as a plate. `wirings` are the built-in wirings for it, the default one first;
    `test_minutes` is how long a test takes, used until the program's own log shows it (common practice).

    `words` is a pattern for the names of such gear in imported sheets, singular and in lower case; `loose_words` is one
    for words that often mean other things, so that a sheet has to say more: “cord”, “wire”.
    """

    name: str
    page: str
    plural: str
    has_length: bool
    is_box: bool
    has_flag_tag: bool
    wirings: tuple[str, ...]
    test_minutes: int
    words: str
    loose_words: str = ""

    @property
    def title(self) -> str:
        """The word on pages, with a capital letter in front."""
        return self.page[:1].upper() + self.page[1:]

    def is_long_enough(self, length_mm: int, needed_mm: int) -> bool:
        """Whether a piece of this length can take the place of one that was `needed_mm` long."""
        return not self.has_length or length_mm >= needed_mm


KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(
            "cable",
            "cable",
            "cables",
            has_length=True,
            is_box=False,
            has_flag_tag=True,
            wirings=("xlr3", "xlr3-bonded", "xlr3-lifted", "trs", "xlr3-to-trs"),
            test_minutes=2,
            words="cable|lead",
            loose_words="cord|wire|patch|jumper",
        ),
        Kind(
            "hub",
            "hub (stage box)",
            "hubs (stage boxes)",
            has_length=False,
            is_box=True,
            has_flag_tag=False,
            wirings=("d25-to-xlr8", "8p8c-to-xlr4", "xlr3x8", "xlr3x4"),
            test_minutes=8,
            words=r"hub|(?:stage|drop|break ?out|(?:\d{1,2} ?)?(?:channel|ch|line|way)) ?box|sub[ -]?snake|fan ?out",
            loose_words="junction ?box",
        ),
        Kind(
            "trunk",
            "trunk (multicore)",
            "trunks (multicores)",
            has_length=True,
            is_box=False,
            has_flag_tag=False,
            wirings=(
                "d25x8-screened",
                "d25x8",
                "8p8c-screened",
                "8p8c",
                "d25-to-xlr8",
                "8p8c-to-xlr4",
                "xlr3x8",
                "xlr3x4",
            ),
            test_minutes=10,
            words="trunk|multi ?core|snake|loom|multi ?pair",
        ),
    )
}
"""Every kind of gear, in the order of lists. To add a kind, only a row here is needed."""
USUAL_KIND = next(iter(KINDS))
"""The kind of most gear, which is used if connectors but no kind are named."""


def kind_choices() -> list[tuple[str, str]]:
    """Each kind with the word that a form or a list shows for it."""
    return [(kind.name, kind.title) for kind in KINDS.values()]


def kinds_in_words() -> str:
    """The kinds in words: "cable, hub or trunk"."""
    *others, last = KINDS
    return f"{', '.join(others)} or {last}"


def item_name(kind: str, length_mm: int, unit: Unit) -> str:
    """The usual name of an item: "10 ft cable", "Hub (stage box)". `length_mm` is 0 if it has no length."""
    return f"{format_length(length_mm, unit)} {KINDS[kind].page}" if length_mm else KINDS[kind].title


class TitledItem(Protocol):
    """An item, or what lists show of one."""

    @property
    def label(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def length_mm(self) -> int: ...


def item_title(item: TitledItem, unit: Unit) -> str:
    """The title of an item: its label, or else its usual name ("10 ft cable")."""
    return item.label or item_name(item.kind, item.length_mm, unit)


def home_state(earlier: list[ItemState]) -> ItemState:
    """The state of an item after a repair and a pass: its last usable state, or else in service."""
    return next((state for state in reversed(earlier) if state in USABLE), ItemState.IN_SERVICE)
