"""What becomes of the rows of a sheet, in English, for pages, the command line and receipts."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from service.exchange.sheets.core.fields import GEAR, TESTS
from service.exchange.sheets.core.row_status import (
    EntryTitle,
    FactKind,
    GearTitle,
    HelpKind,
    PlannedRow,
    RepairQuestion,
    RowFact,
    RowStatus,
)
from service.gear.core import ItemState, PlaceKind, item_name, item_title
from service.kit.quantities import Unit, format_length, format_money

_OF_GEAR = {field.key: field.words.lower() for field in GEAR}
_OF_TESTS = {field.key: field.words.lower() for field in TESTS}
_TWINS_MOST = 3
"""More rows with one label are probably no duplicates: the label is a description."""
_CODES_MOST = _NAMED_MOST = 3
_PLACES = {
    PlaceKind.FRAME: "an instrument frame",
    PlaceKind.CASE: "a case",
    PlaceKind.SHELF: "a shelf",
    PlaceKind.OTHER: "none of frame, case and shelf",
}
_A = {"pass": "pass", "fail": "fail", "partial": "partial test"}
_DAYS = {"bought_on": "bought on", "in_service_on": "in service since"}
"""The sentence for a day that is not exact, by its column."""


@dataclass(frozen=True)
class RowInWords:
    """A row of a dry run in words."""

    line: int
    status: RowStatus
    title: str
    sentences: tuple[str, ...]
    ways: tuple[tuple[str, str], ...]


def in_words(row: PlannedRow, unit: Unit) -> RowInWords:
    """A row with its title and a sentence for each fact; lengths in `unit`."""
    return RowInWords(row.line, row.status, format_title(row.title, unit), sentences(row, unit), ways_in_words(row))


def on_one_line(row: PlannedRow, unit: Unit) -> str:
    """A row in one line, for the command line."""
    words = in_words(row, unit)
    title = f", {words.title}" if words.title else ""
    return f"line {row.line}: {row.status}{title}{': ' if words.sentences else ''}{' '.join(words.sentences)}"


def sentences(row: PlannedRow, unit: Unit) -> tuple[str, ...]:
    """A sentence for each fact about a row."""
    return tuple(_sentence(fact, unit) for fact in row.facts)


def format_title(title: str | GearTitle | EntryTitle, unit: Unit) -> str:
    """The title of a row in words: "2 × low end, 10 ft cable"."""
    if isinstance(title, str):
        return title
    if isinstance(title, EntryTitle):
        return f"{title.item.code}, {item_title(title.item, unit)}: {title.what} on {title.on}"
    parts = (title.code, title.label, item_name(title.kind, title.length_mm, unit))
    code, label, name = parts
    times = f"{title.count} × " if title.count > 1 else ""
    return f"{f'{code}, ' if code else ''}{times}{f'{label}, ' if label else ''}{name}"


def counts_in_words(counts: Mapping[RowStatus, int]) -> str:
    """The counts in words: "12 new, 1 changed, 2 errors"."""
    parts = [
        f"{count:,} {status.value}{'s' if status is RowStatus.ERROR and count != 1 else ''}"
        for status, count in counts.items()
        if count
    ]
    return ", ".join(parts) or "nothing"


def states_in_words(ends: Mapping[ItemState, int]) -> str:
    """How many items are in which state, in the order of the states: "80 in service, 5 quarantined"."""
    return ", ".join(f"{ends[state]:,} {state_in_words(state)}" for state in ItemState if ends.get(state))


def question_in_words(question: RepairQuestion, unit: Unit) -> str:
    """The question whether there was a repair before some passes, and the result of either answer."""
    number, named = len(question.passes), question.passes[:_NAMED_MOST]
    rows = [f"line {line} ({format_title(title, unit)})" for line, title in named]
    more = f" and {number - len(rows):,} more" if number > len(rows) else ""
    follow = "1 pass follows" if number == 1 else f"{number:,} passes follow"
    return (
        f"{follow} a fail with no repair told in between: {', '.join(rows)}{more}. Was there a repair in between? "
        f"If so, the items of this sheet end as {states_in_words(question.ends_if_repaired)}; if not, as "
        f"{states_in_words(question.ends_if_not)}."
    )


def state_in_words(state: ItemState) -> str:
    """A state in words."""
    return state.value.replace("_", " ")


def spans(place: str, place_b: str) -> str:
    """The places of an item in words."""
    return f"{place} to {place_b}" if place_b else place or "nowhere"


def short_list(codes: tuple[str, ...]) -> str:
    """The first few codes."""
    return ", ".join(codes[:_CODES_MOST]) + (" …" if len(codes) > _CODES_MOST else "")


def _sentence(fact: RowFact, unit: Unit) -> str:
    if fact.kind is FactKind.BECOMES:
        was, value = (_value(fact.field, value, unit) for value in (fact.was, fact.value))
        return f"{_OF_GEAR[fact.field]}: {was} becomes {value}."
    return _SENTENCES[fact.kind](fact)


def _value(field: str, value: Any, unit: Unit) -> str:
    """A value of an item in words, for a sentence about its change."""
    if field == "place":
        return spans(*value)
    if field == "state":
        return state_in_words(value)
    if value in (None, "") or (field == "length" and not value):
        return "nothing"
    if field == "length":
        return format_length(value, unit)
    return format_money(value) if field == "price" else f"“{value}”"


def _new_item(fact: RowFact) -> str:
    wiring, places, state = fact.value
    where = f"at {spans(*places)}" if any(places) else "at no place yet"
    return f"Wiring {wiring}, {where}, {state_in_words(state)}."


def _from_same_row(fact: RowFact) -> str:
    here = len(fact.codes)
    some = f"{here} of them are here" if fact.number > 1 and here < fact.number else "Here"
    return f"{some} already as {short_list(fact.codes)}, from the same row."


def _same_label(fact: RowFact) -> str:
    others = fact.value
    if len(others) > _TWINS_MOST:
        return f"{len(others) + 1} rows here have this label, so it tells none of them from another."
    have = f"Line {others[0]} has" if len(others) == 1 else f"Lines {', '.join(others[:-1])} and {others[-1]} have"
    return f"{have} this label too: if a piece was typed twice, take one row out."


def _alike(fact: RowFact) -> str:
    number = len(fact.codes)
    return (
        f"{number} like it without a label {'is' if number == 1 else 'are'} here already: {short_list(fact.codes)}. "
        "Write the code if it is one of those."
    )


def _earlier(fact: RowFact) -> str:
    quoted = f"“{fact.was[:60]}”, " if fact.was else ""
    return (
        f"The log has a {_A[fact.value]} of this day that this sheet does not have: {quoted}from an earlier sheet. If "
        "this row corrects it, void that one after."
    )


def ways_in_words(row: PlannedRow) -> tuple[tuple[str, str], ...]:
    """The addresses of pages that help with a row, each with the words of its link."""
    return tuple(
        (
            way.href,
            "Enter a wiring of your own" if way.kind is HelpKind.NEW_WIRING else f"The earlier {_A[way.verdict]}",
        )
        for way in row.ways
    )


def channels(words: str, number: int) -> str:
    """The number of channels of a row in words."""
    return f"“{words}” says {number} channels"


_SENTENCES: Mapping[FactKind, Callable[[RowFact], str]] = {
    FactKind.REFUSED_GEAR: lambda fact: f"{_OF_GEAR.get(fact.field, fact.field)}: {fact.value}",
    FactKind.REFUSED_TEST: lambda fact: f"{_OF_TESTS.get(fact.field, fact.field)}: {fact.value}",
    FactKind.LEFT_OUT: lambda fact: str(fact.value),
    FactKind.TAKEN_AS_LENGTH: lambda fact: f"“{fact.value}” is taken as its length.",
    FactKind.TAKEN_AS_DAY: lambda fact: f"“{fact.was}” is taken as {_DAYS[fact.field]} {fact.value}.",
    FactKind.DAY_NUMBER: lambda fact: f"“{fact.was}” is a spreadsheet's number for the day {fact.value}.",
    FactKind.CONDITION: lambda fact: f"“{fact.value}” tells how it looks, so it is kept as a note.",
    FactKind.NOTE_ADDED: lambda fact: f"note: “{fact.value[:60]}” is added.",
    FactKind.MATCHED_BY_LABEL: lambda fact: f"Taken as {short_list(fact.codes)}, by its label.",
    FactKind.WIRING_STAYS: lambda fact: f"The wiring stays {fact.value}.",
    FactKind.OTHER_LANES: lambda fact: f"{channels(fact.value, fact.number)}, and here it has {fact.was} lanes.",
    FactKind.FROM_SAME_ROW: _from_same_row,
    FactKind.CHANGED_SINCE: lambda _: "What was changed here since stays; write the code to have it as the sheet says.",
    FactKind.NEW_ITEM: _new_item,
    FactKind.NEW_PLACE: lambda fact: (
        f"“{fact.value}” is a new place, {_PLACES[fact.was]} by its name; change that under Places."
    ),
    FactKind.WIRING_BY_LANES: lambda fact: (
        f"{channels(fact.value, fact.number)}, so its wiring is the one of that many here."
    ),
    FactKind.WIRING_NAMED: lambda fact: (
        f"{channels(fact.value, fact.number)}; the wiring that is named has {fact.was} lanes."
    ),
    FactKind.NO_LENGTH_HERE: lambda fact: f"A {fact.value} has no length here, so it is left out.",
    FactKind.LABEL_OF_GONE: lambda fact: (
        f"{short_list(fact.codes)} of this label is gone, so this is new; write the code if it is that one."
    ),
    FactKind.ALIKE_WITHOUT_LABEL: _alike,
    FactKind.SAME_LABEL: _same_label,
    FactKind.EVIDENCE: lambda fact: f"Kept as what was found: {fact.value.value.replace('_', ' ')}.",
    FactKind.EARLIER_TEST: _earlier,
    FactKind.WITH_REPAIR: lambda fact: f"And a repair: {fact.value}",
    FactKind.REPAIR_STAYS: lambda fact: (
        f"Its repair stays “{fact.was}”, as it was logged; log “{fact.value}” on the item's page."
    ),
    FactKind.NOT_ADDED: lambda fact: (
        f"“{fact.value[:60]}” is not added, since a logged test is never changed; note it on the item."
    ),
}
