"""Reasons why a row is not certainly gear that is known here: it contradicts itself or says too little. Pure."""

import re
from collections.abc import Mapping

from service.exchange.sheets.core.connectors import ASIDE, kind_described, kind_in, kind_words
from service.exchange.sheets.core.other_gear import range_in
from service.exchange.sheets.core.recognized_gear import count_in, gone_in, is_only_in_name
from service.gear.core import KINDS
from service.kit.problems import Invalid

TELLING = ("kind", "wiring", "description", "label", "heading")
"""The fields whose words may say what a piece is, those that are meant for it first; a heading is not a column."""
DESCRIBED = TELLING[2:]
"""Those of them that are not meant to say what a piece is."""
_DENIED = re.compile(r"\b(?:not|non|isn'?t|no(?!\.? ?#?\d))\b")
_OR = re.compile(r"[/,;|&+]|\bor\b|\band\b")


class NotTaken(Invalid):
    """A row is not certainly a cable, a hub or a trunk with a known wiring, or is not gear at all."""

    def __init__(self, field: str, why: str) -> None:
        super().__init__(why, {field: why})


def refuse_doubtful(cell: str) -> None:
    """Refuse a cell for the kind that denies a kind, or names several."""
    named = {kind_in(part) for part in _OR.split(cell.lower())} - {None}
    if kind_in(cell) and is_only_in_name(cell):
        raise NotTaken("kind", f"“{short(cell)}” is no kind of gear here; leave the row out.")
    if kind_in(cell) and (_DENIED.search(cell.lower()) or len(named) > 1):
        raise NotTaken("kind", f"“{short(cell)}” may mean several things; write one of {', '.join(KINDS)}.")


def refuse_other_kind(typed: Mapping[str, str]) -> None:
    """Refuse a description of another kind than that in the cell for the kind."""
    kind, words = kind_in(typed.get("kind", "")), typed.get("description") or typed.get("label", "")
    part = ASIDE.split(words.lower(), maxsplit=1)[0]
    described = kind_described(part) if "description" in typed or _bare_kind(part) else None
    if kind and described and kind != described and "code" not in typed and "wiring" not in typed:
        raise NotTaken(
            "kind",
            f"“{short(typed['kind'])}” is a {kind}, and “{short(words)}” a {described}. Write into the "
            "column for the kind which of the two it is, and the connectors into one for the wiring.",
        )


def _bare_kind(words: str) -> bool:
    """Whether words are only a kind and a number, like “Snake 2”."""
    return any(pattern.fullmatch(re.sub(r"[\W\d]+", " ", words).strip()) for pattern in kind_words().each.values())


def refuse_gone(typed: Mapping[str, str]) -> None:
    """Refuse gear whose words say that it is not in service, if there is no cell for its state."""
    if {"state", "code"} & set(typed):
        return
    for key in (*DESCRIBED, "note"):
        gone = gone_in(typed.get(key, ""), note=key == "note")
        if gone:
            raise NotTaken(
                key,
                f"“{short(typed[key])}” may say that it is not in service, by “{gone}”, and no cell tells its "
                "state. Write it into a column for the state: quarantined, in repair, retired, lost or in service.",
            )


def refuse_unsure(typed: Mapping[str, str]) -> None:
    """Refuse a row that does not say what it is."""
    words = next((typed[key] for key in DESCRIBED if key in typed), "")
    raise NotTaken(
        "kind",
        (f"“{short(words)}” does not say" if words else "nothing in this row says")
        + f" that it is a {', a '.join([*KINDS][:-1])} or a {[*KINDS][-1]}. Leave it out; or write so into a column "
        "for the kind of gear. If all rows that say no kind are of one, choose it under Columns, or with --kind.",
    )


def refuse_several(typed: Mapping[str, str], count: int | None) -> None:
    """Refuse gear whose words name several pieces, if the number of pieces does not say so.

    Raises:
        NotTaken: for `label` or `description`.
    """
    refuse_range(typed, count)
    if count is not None or typed.get("code"):
        return
    for key in ("description", "label"):
        number = count_in(typed.get(key, ""))
        if number is not None and number != 1:
            how = f"may be {number} pieces" if number else "is of several pieces by its words"
            raise NotTaken(
                key,
                f"“{short(typed[key])}” {how}, and no column says how many there are. Write the number into a column "
                "for how many, or 1 if it is one piece.",
            )


def refuse_range(typed: Mapping[str, str], count: int | None) -> None:
    """Refuse a label with a range of numbers that does not agree with the number of pieces.

    Raises:
        NotTaken: for `label`.
    """
    numbered = None if typed.get("code") else range_in(typed.get("label", ""))
    if numbered is None or count in (1, numbered[1]):
        return
    counted = "no column says how many there are" if count is None else f"the sheet says {count}"
    raise NotTaken(
        "label",
        f"“{numbered[0]}” may be {numbered[1]} pieces, and {counted}. Write {numbered[1]} into a column for how many, "
        "or 1 if it is one piece; or write a row for each.",
    )


def short(words: str) -> str:
    """The words, shortened for a quotation in a sentence."""
    return " ".join(words.split())[:60]
