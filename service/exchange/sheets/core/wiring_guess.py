"""Guessing the kind and wiring of a row's gear from everything that the row says. Pure.

A kind of gear with lanes has eight of them by default. If a row gives another number, its gear gets the wiring with
that many lanes if there is only one; otherwise the row stays out until somebody says which wiring it is.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from service.exchange.sheets.core.cells import folded, is_code, length_in
from service.exchange.sheets.core.connectors import (
    kind_described,
    kind_in,
    lanes_in,
    no_microphone_in,
    wiring_in,
)
from service.exchange.sheets.core.other_gear import of_several, other_gear, other_wiring, unclear_plug
from service.exchange.sheets.core.recognized_gear import count_in, names_known_gear
from service.exchange.sheets.core.uncertain_rows import (
    DESCRIBED,
    TELLING,
    NotTaken,
    refuse_doubtful,
    refuse_gone,
    refuse_other_kind,
    refuse_unsure,
    short,
)
from service.gear.core import KINDS, USUAL_KIND, kinds_in_words
from service.kit.problems import invalid

_NOTE = re.compile(
    r"^(?:notes?|nb|n\.b\.|see|check|ask|updated?|last|please|remember|key|legend|to ?do|bring|return|need|we|all)\b"
    r"|^[*†(]|[:.!?]$|(?:\S+ ){8}"
)
"""The pattern of a sentence rather than a piece's name."""
_NUMBER_ONLY = re.compile(r"^x ?|[.,]0+$", re.IGNORECASE)
"""What spreadsheets and people add to a number."""


@dataclass(frozen=True)
class WiringOffer:
    """The wirings of this program: `words` maps the key and the name of each offered one, in lower case, to its key;
    `lanes` has the number of lanes of each, also of those that are no longer offered.
    """

    words: Mapping[str, str]
    lanes: Mapping[str, int]


@dataclass(frozen=True)
class Lanes:
    """A number of lanes that a row gives in these `words`, and the possible wirings with that many."""

    number: int
    words: str
    among: tuple[str, ...] = ()


@dataclass(frozen=True)
class GuessedWiring:
    """The guess for a row's gear: its kind, its wiring, and the lanes that the row gives.

    `names_kind` says whether the row itself names a kind, `has_wiring` whether it has a cell for the wiring, `exact`
    whether that is the key or name of a wiring, and `chosen` whether the wiring follows from the lanes. `usual` has
    those of the fields kind and wiring that have the default value because no word of the row gives them.
    """

    kind: str = ""
    wiring: str = ""
    names_kind: bool = False
    has_wiring: bool = False
    exact: bool = False
    lanes: Lanes | None = None
    chosen: bool = False
    usual: frozenset[str] = frozenset()


def guess_wiring(typed: Mapping[str, str], usual_kind: str, offer: WiringOffer) -> GuessedWiring:
    """The kind and wiring of a row; `typed` has its filled cells, by field. With an empty `usual_kind` a row that names
    no kind may be anything.

    Raises:
        NotTaken: it names an unknown kind or connectors, or other gear. For a row with a code, which may be an existing
            item, only its cells for kind and wiring count.
        Invalid: its cell for lanes has no number.
    """
    kind_cell, plugs = typed.get("kind", ""), typed.get("wiring", "")
    described = tuple(typed.get(key, "") for key in DESCRIBED)
    kind = (
        kind_in(kind_cell)
        or kind_in(plugs)
        or ("" if kind_cell else _described_kind(described))
        or usual_kind
        or USUAL_KIND
    )
    refuse_doubtful(kind_cell)
    exact = offer.words.get(folded(plugs)) or ("" if kind_in(kind_cell) else offer.words.get(folded(kind_cell)))
    if not exact:
        _refuse_other_leads(typed)
        _refuse_other_gear(typed, kind)
    wiring = exact or wiring_in(plugs, kind)
    if plugs and wiring is None:
        raise NotTaken(
            "wiring",
            f"“{plugs.strip()[:40]}” is no connector known here; write XLR, TRS, D25 or 8P8C, or a wiring's own name.",
        )
    if kind_cell and kind_in(kind_cell) is None:
        wiring = wiring or wiring_in(kind_cell, kind)
        if wiring is None:
            raise NotTaken(
                "kind",
                f"“{kind_cell.strip()[:40]}” is no kind of gear; write {', '.join(KINDS)}, or connectors, or leave "
                "this column out.",
            )
    wiring = wiring or (wiring_in(kind_cell, kind) if kind_cell else None) or _described_wiring(described, kind)
    built_in = exact and not _is_own(exact)
    if not exact or (built_in and "code" not in typed and exact not in KINDS[kind].wirings):
        _refuse_unsuited(typed, kind, wiring)
    refuse_other_kind(typed)
    refuse_gone(typed)
    if not (usual_kind or kind_cell or plugs or "code" in typed or any(map(names_known_gear, described))):
        refuse_unsure(typed)
    lanes = _lanes(typed, kind, wiring, offer)
    chosen = lanes.among[0] if lanes and not exact and len(lanes.among) == 1 else ""
    usual = chosen or wiring or KINDS[kind].wirings[0]
    if lanes and not chosen and offer.lanes[usual] == lanes.number:
        lanes = None
    has_kind = kind_in(kind_cell) is not None
    untold = {
        "kind": not (kind_cell or kind_in(plugs) or _described_kind(described)),
        "wiring": not (wiring or chosen),
    }
    return GuessedWiring(
        kind,
        usual,
        has_kind,
        "wiring" in typed,
        bool(exact),
        lanes,
        bool(chosen),
        frozenset(field for field, so in untold.items() if so),
    )


def stands_alone(cell: str, field: str) -> bool:
    """Whether the only cell of a row describes one piece of gear completely; a heading or a note does not.

    >>> [stands_alone(words, "label") for words in ("Stage box 16 ch", "25 ft XLR", "Stage boxes:", "Truck 2 shelf B")]
    [True, True, False, False]
    """
    if field == "code":
        return is_code(cell)
    words = " ".join(cell.split())
    if field not in TELLING or _NOTE.search(words.lower()) or of_several(words):
        return False
    kind = kind_described(words) or (USUAL_KIND if wiring_in(words, USUAL_KIND) else None)
    return kind is not None and (not KINDS[kind].has_length or length_in(words) is not None)


def refuse_merged(gear: GuessedWiring, above: Mapping[str, GuessedWiring], mapping: Sequence[str]) -> None:
    """Refuse gear with an empty cell in a column whose last filled cell above says something else than the guess: a
    merged cell has its text only in its first row. `above` has the gear of that row, by field.

    Raises:
        NotTaken: for `kind` or `wiring`.
    """
    for field in ("kind", "wiring"):
        last = above.get(field)
        if field not in mapping or field not in gear.usual or last is None:
            continue
        was, now = (last.kind, gear.kind) if field == "kind" else (last.wiring, gear.wiring)
        if was != now and (field == "kind" or last.kind == gear.kind):
            raise NotTaken(
                field,
                f"nothing stands here, and it would be taken for {now}; above it stands {was}. A cell that was merged "
                "has its words in its first row only: write them into each row.",
            )


def _telling(typed: Mapping[str, str]) -> dict[str, str]:
    """The words that say what a row's gear is and how it is wired, by field. Label and description are left out if a
    cell names the connectors, and in a row with a code, where they may be new names for an existing item.
    """
    keys = ("kind", "wiring") if typed.get("wiring") or typed.get("code") else TELLING
    return {key: typed[key] for key in keys if key in typed}


def has_length(typed: Mapping[str, str]) -> bool:
    """Whether a row has a length, in its cell or in words."""
    return "length" in typed or any(length_in(typed[key]) for key in TELLING if key in typed)


def _refuse_other_gear(typed: Mapping[str, str], kind: str) -> None:
    telling = _telling(typed)
    for field, words in telling.items():
        lead = other_wiring(words)
        if lead:
            raise NotTaken(
                field,
                f"“{short(words)}” speaks of {lead}, and no such wiring is built in. Enter a wiring of your own and "
                "write its name into a column for the wiring; or leave the row out.",
            )
    together = " ".join(telling.values())
    if unclear_plug(together):
        raise NotTaken(
            next(field for field, words in telling.items() if unclear_plug(words)),
            f"“{short(together)}” speaks of a quarter-inch plug and not of its contacts: write TRS if it has three; a "
            "TS lead has two, and no wiring for it is built in.",
        )
    _refuse_things(typed, kind)


def _refuse_things(typed: Mapping[str, str], kind: str) -> None:
    kind_cell, long = typed.get("kind", ""), has_length(typed)
    named = kind_in(kind_cell) or kind_in(typed.get("wiring", ""))
    texts = (
        {"kind": kind_cell}
        if kind_cell
        else {}
        if typed.get("code") or (typed.get("wiring") and long)
        else {key: typed.get(key, "") for key in ("description", "label")}
    )
    for field, words in texts.items():
        thing = other_gear(words, has_length=long and field != "kind")
        others = (other for key, other in texts.items() if key != field)
        if thing and (field == "kind" or not (named or any(kind_described(other) for other in others))):
            raise NotTaken(
                field,
                f"“{short(words)}” is no {kinds_in_words()}, by the word “{thing}”. Leave it out; if it is one, "
                f"write so into a column for the kind of gear: {', '.join(KINDS)}.",
            )


def _refuse_unsuited(typed: Mapping[str, str], kind: str, wiring: str | None) -> None:
    """Refuse connectors for which there is no wiring of this kind."""
    spoken: dict[str, str | None] = {field: wiring_in(words, kind) for field, words in _telling(typed).items()}
    if wiring is not None:
        field = "wiring" if "wiring" in typed else "kind"
        spoken[field] = spoken.get(field) or wiring
    suits = KINDS[kind].wirings
    wrong = next((field for field, key in spoken.items() if key is not None and key not in suits), None)
    if wrong is None or (wiring in suits and wrong not in ("kind", "wiring")):
        return
    fit = [name for name, one in KINDS.items() if spoken[wrong] in one.wirings]
    raise NotTaken(
        wrong,
        f"“{short(typed.get(wrong, ''))}” speaks of connectors that no {kind} here has"
        + (
            f"; if it carries microphone lines, write {' or '.join(fit)} as its kind. Else leave it out."
            if fit
            else "."
        ),
    )


def with_heading(typed: Mapping[str, str], heading: str) -> dict[str, str]:
    """A row with the heading of its part of the sheet, if that may say what the row is: no cell does, and the row's own
    words name no other kind.
    """
    own = _described_kind(typed.get(key, "") for key in ("description", "label"))
    is_described = {"kind", "wiring", "code"} & set(typed) or own not in (None, kind_described(heading))
    return dict(typed) if is_described or not heading else {**typed, "heading": heading}


def heading_of(cell: str) -> str:
    """A row's only cell as the heading of the rows below it; empty if it is a note or a number of pieces."""
    words = " ".join(cell.split()).rstrip(": ")
    return "" if _NOTE.search(words.lower()) or count_in(words) else words


def _described_kind(described: Iterable[str]) -> str | None:
    return next(filter(None, map(kind_described, described)), None)


def _described_wiring(described: Iterable[str], kind: str) -> str | None:
    """The wiring that words mention, if it is one for this kind of gear."""
    spoken = (wiring_in(words, kind) for words in described)
    return next((key for key in spoken if key in KINDS[kind].wirings), None)


def _refuse_other_leads(typed: Mapping[str, str]) -> None:
    telling = _telling(typed)
    if not {"kind", "wiring", "code"} & set(typed) and "note" in typed:
        telling["note"] = typed["note"]  # no other cell says what it is
    for field, words in telling.items():
        other = no_microphone_in(words)
        if other:
            raise NotTaken(
                field,
                f"“{short(words)}” is no microphone wiring, by the word “{other}”; leave the row out. "
                "Mains and speaker leads are never tested with a cable tester.",
            )


def _lanes(typed: Mapping[str, str], kind: str, wiring: str | None, offer: WiringOffer) -> Lanes | None:
    """The lanes that a row gives, if its kind has lanes and its wiring has another number of them."""
    usual = KINDS[kind].wirings[0]
    if offer.lanes[usual] == 1:
        return None
    cells = (_counted(typed), *(typed.get(key, "") for key in (*TELLING, "note")))
    text, number = next(((words, lanes) for words in cells if (lanes := lanes_in(words)) is not None), ("", 0))
    if not number:
        return None
    if offer.lanes[wiring or usual] == number:
        return None
    offered = [*KINDS[kind].wirings, *(key for key in dict.fromkeys(offer.words.values()) if _is_own(key))]
    among = [key for key in offered if offer.lanes[key] == number]
    if wiring is not None:  # those with the connectors that the row names
        among = [key for key in among if _is_own(key) or _stem(key) == _stem(wiring)]
    return Lanes(number, " ".join(text.split())[:60], tuple(among))


def _counted(typed: Mapping[str, str]) -> str:
    """The cell of the column of lanes, in words that `lanes_in` reads; empty if there is none."""
    cell = typed.get("lanes", "").strip()
    counted = f"{_NUMBER_ONLY.sub('', cell)} channels"
    words = next((words for words in (cell, counted) if lanes_in(words) is not None), "")
    if cell and not words:
        raise invalid("lanes", f"“{cell[:30]}” is no number of channels; write it like 16, or leave it empty.")
    return words


def _is_own(key: str) -> bool:
    return not any(key in kind.wirings for kind in KINDS.values())


def _stem(key: str) -> str:
    return re.sub(r"x?\d+$", "", key)
