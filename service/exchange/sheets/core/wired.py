"""What a row's gear is and how it is wired, from all that the row says of it. Pure.

A kind of gear that has lanes has them eightfold where nothing is said. Where a row tells another number, its gear gets
the wiring that has so many if just one can be meant; else nothing is made of it until somebody says which.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from service.exchange.sheets.core.cells import folded
from service.exchange.sheets.core.connectors import (
    kind_described,
    kind_in,
    lanes_in,
    no_microphone_in,
    wiring_in,
)
from service.gear.core import KINDS
from service.kit.problems import invalid

_NUMBER_ONLY = re.compile(r"^x ?|[.,]0+$", re.IGNORECASE)
"""What spreadsheets and people put beside a number."""


TELLING = ("kind", "wiring", "description", "label")
"""The fields whose words may tell what a piece is, those that are for it first."""


@dataclass(frozen=True)
class Offer:
    """The wirings here: `words` leads from the key and from the name of each that is offered, in lower case, to its
    key; `lanes` has how many lanes each has, also those that are no longer offered.
    """

    words: Mapping[str, str]
    lanes: Mapping[str, int]


@dataclass(frozen=True)
class Lanes:
    """A number of lanes that a row tells of in the words `said`, and the wirings of so many that its gear may have."""

    number: int
    said: str
    among: tuple[str, ...] = ()

    @property
    def in_words(self) -> str:
        """What the row says."""
        return f"“{self.said}” says {self.number} channels"


@dataclass(frozen=True)
class Wired:
    """What a row's gear is: its kind, its wiring, and the lanes that the row tells of.

    `kind_told` says whether the row itself names a kind, `told` whether it has a cell for the wiring, `exact` whether
    that is the key or the name of one, and `chosen` whether the wiring follows from the lanes.
    """

    kind: str = ""
    wiring: str = ""
    kind_told: bool = False
    told: bool = False
    exact: bool = False
    lanes: Lanes | None = None
    chosen: bool = False


def wired(typed: Mapping[str, str], usual_kind: str, offer: Offer) -> Wired:
    """What it is and how it is wired; `typed` has the cells that are filled, by field.

    Raises:
        Invalid: it names a kind or connectors that are none here, or a lead that is no microphone wiring; or its cell
            for lanes tells no number of them.
    """
    said, plugs = typed.get("kind", ""), typed.get("wiring", "")
    described = typed.get("description", ""), typed.get("label", "")
    kind = kind_in(said) or kind_in(plugs) or ("" if said else _described_kind(described)) or usual_kind
    exact = offer.words.get(folded(plugs))
    if not exact:
        _refuse_other_leads(typed)
    wiring = exact or wiring_in(plugs, kind)
    if plugs and wiring is None:
        raise invalid(
            "wiring",
            f"“{plugs.strip()[:40]}” is no connector known here; write XLR, TRS, D25 or 8P8C.",
        )
    if said and kind_in(said) is None:
        wiring = wiring or offer.words.get(folded(said)) or wiring_in(said, kind)
        if wiring is None:
            raise invalid(
                "kind", f"“{said.strip()[:40]}” is no kind of gear; write {', '.join(KINDS)}, or connectors."
            )
    wiring = wiring or (wiring_in(said, kind) if said else _described_wiring(described, kind))
    lanes = _lanes(typed, kind, wiring, offer)
    chosen = lanes.among[0] if lanes and not exact and len(lanes.among) == 1 else ""
    usual = chosen or wiring or KINDS[kind].wirings[0]
    if lanes and not chosen and offer.lanes[usual] == lanes.number:
        lanes = None
    told_kind = kind_in(said) is not None
    return Wired(kind, usual, told_kind, "wiring" in typed, bool(exact), lanes, bool(chosen))


def _described_kind(described: Iterable[str]) -> str | None:
    return next(filter(None, map(kind_described, described)), None)


def _described_wiring(described: Iterable[str], kind: str) -> str | None:
    """The wiring that words speak of in passing, if it is one for this kind of gear."""
    spoken = (wiring_in(words, kind) for words in described)
    return next((key for key in spoken if key in KINDS[kind].wirings), None)


def _refuse_other_leads(typed: Mapping[str, str]) -> None:
    said, plugs = typed.get("kind", ""), typed.get("wiring", "")
    # Where a row says nowhere else what it is, its label may, and of a new piece what describes it.
    elsewhere = ("label",) if typed.get("code") else ("label", "description", "note")
    told = {"kind": f"{said} {plugs}"} if said or plugs else {key: typed.get(key, "") for key in elsewhere}
    for field, words in told.items():
        other = no_microphone_in(words)
        if other:
            raise invalid(
                field,
                f"“{' '.join(words.split())[:40]}” is no microphone wiring, by the word “{other}”; leave the row out. "
                "Mains and speaker leads are never tested with a cable tester.",
            )


def _lanes(typed: Mapping[str, str], kind: str, wiring: str | None, offer: Offer) -> Lanes | None:
    """The lanes that a row tells of, if its kind has any and its wiring has not so many."""
    usual = KINDS[kind].wirings[0]
    if offer.lanes[usual] == 1:
        return None
    told = (_counted(typed), *(typed.get(key, "") for key in (*TELLING, "note")))
    said, number = next(((words, lanes) for words in told if (lanes := lanes_in(words)) is not None), ("", 0))
    if not number:
        return None
    if offer.lanes[wiring or usual] == number:
        return None
    offered = [*KINDS[kind].wirings, *(key for key in dict.fromkeys(offer.words.values()) if _is_own(key))]
    among = [key for key in offered if offer.lanes[key] == number]
    if wiring is not None:  # of those with the connectors that the row names
        among = [key for key in among if _is_own(key) or _stem(key) == _stem(wiring)]
    return Lanes(number, " ".join(said.split())[:60], tuple(among))


def _counted(typed: Mapping[str, str]) -> str:
    """What a cell of the lanes' own column says, in words that `lanes_in` reads; empty where there is none."""
    cell = typed.get("lanes", "").strip()
    counted = f"{_NUMBER_ONLY.sub('', cell)} channels"
    said = next((words for words in (cell, counted) if lanes_in(words) is not None), "")
    if cell and not said:
        raise invalid(
            "lanes", f"“{cell[:30]}” is no number of channels; write it like 16, or leave it empty."
        )
    return said


def _is_own(key: str) -> bool:
    return not any(key in kind.wirings for kind in KINDS.values())


def _stem(key: str) -> str:
    return re.sub(r"x?\d+$", "", key)
