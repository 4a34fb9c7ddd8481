"""What is asked of an import: which sheet, what its columns are, and how its cells are to be read. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from service.exchange.sheets.core import columns, days, sheet, skipped_rows
from service.exchange.sheets.core.cells import folded, is_bare, is_code, length_in
from service.exchange.sheets.core.connectors import kind_in, no_microphone_in
from service.exchange.sheets.core.days import Order
from service.exchange.sheets.core.fields import GEAR, KNOWN, TESTS, UNCODED, Field
from service.exchange.sheets.core.recognized_gear import describes, is_of_cables
from service.exchange.sheets.core.row_status import BadRows
from service.exchange.sheets.core.sheet import SheetTable
from service.exchange.sheets.core.skipped_rows import Aside
from service.exchange.sheets.core.uncertain_rows import TELLING
from service.exchange.sheets.core.wiring_guess import heading_of, stands_alone
from service.gear.core import KINDS, USUAL_KIND
from service.kit.codes import ALPHABET, LENGTH
from service.kit.problems import Invalid, invalid
from service.kit.quantities import Unit
from service.kit.text import plain

_OWN_TAGS = ("code", "tag", "tag code", "tag no", "tag number")
SHOWN = 3
"""Cells of each column that its guess is shown with."""


class SheetKind(StrEnum):
    """What a sheet is of."""

    GEAR = "gear"
    TESTS = "tests"


class Above(StrEnum):
    """What an empty cell means below one with a place."""

    SAME = "same"
    NONE = "none"


@dataclass(frozen=True)
class ImportRequest:
    """An import as it is asked for. `text` is the sheet, `mapping` a field's key or nothing for each column.

    `unit` is of lengths without one, `order` of dates that may be read in two ways, `item_kind` of gear that names no
    kind (empty: it stays out), `between` whether there was a repair where a pass follows a fail and none is told (None:
    nobody has said), `above` what an empty cell means below a place.
    """

    text: str
    kind: SheetKind
    mapping: tuple[str, ...]
    unit: Unit | None
    order: Order | None
    item_kind: str
    between: bool | None
    bad: BadRows = BadRows.ALL
    above: Above | None = None


@dataclass(frozen=True)
class Column:
    """A column as the page shows it: its name ("Column 4" where it has none), what it is taken for, its first cells."""

    name: str
    key: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Look:
    """A sheet at first sight: what it seems to be of, its columns, and what has to be asked.

    `bare` says that there are lengths without a unit, `unclear` is a date that may be read in two ways, `gaps` are the
    lines without a place below one that has it, each with that place. `usual_kind` is the kind of a row that names none
    while nobody has said: none where the sheet tells in words what its things are (`recognized_gear`), else a cable.
    """

    kind: SheetKind
    sheet: SheetTable
    columns: tuple[Column, ...]
    unit: Unit | None
    order: Order | None
    bare: bool
    unclear: str | None
    gaps: tuple[tuple[int, str], ...] = ()
    usual_kind: str = USUAL_KIND


def fields(kind: SheetKind) -> tuple[Field, ...]:
    """What the columns of a sheet may be."""
    return GEAR if kind is SheetKind.GEAR else TESTS


def look(text: str, kind: SheetKind | None = None, mapping: Sequence[str] | None = None) -> Look:
    """The sheet at first sight; `kind` and `mapping` where somebody said.

    Raises:
        Invalid: for `file`, where it is no sheet.
    """
    read = sheet.read_sheet(text, KNOWN)
    kind = kind or (SheetKind.TESTS if columns.is_tests(read.header) else SheetKind.GEAR)
    guessed = mapping if mapping is not None and len(mapping) == len(read.header) else None
    keys = tuple(guessed) if guessed is not None else _guessed(kind, read)
    by_key = {key: _cells(read, at) for at, key in enumerate(keys) if key}
    name = dict(zip(keys, read.header, strict=True)).get("length", "")
    dates = [*by_key.get("bought_on", ()), *by_key.get("tested_at", ())]
    order = days.order_of(dates)
    shown = tuple(
        Column(name or f"Column {number}", key, tuple(cell[:60] for cell in _cells(read, at)[:SHOWN]))
        for at, (name, number, key) in enumerate(zip(read.header, read.numbers, keys, strict=True))
    )
    lengths = by_key.get("length", ())
    bare = not columns.measure_in(name) and any(map(is_bare, lengths))
    unclear = None if order else days.unclear(dates)
    if kind is SheetKind.TESTS:
        return Look(kind, read, shown, columns.unit_in(name), order, bare, unclear)
    aside = asides_of(read, keys, kind)
    gaps = skipped_rows.gaps(read, keys, aside)
    says_kind = _only_names(read, keys) or describes(read, keys, aside, skipped_rows.sections(read, aside, heading_of))
    return Look(
        kind, read, shown, columns.unit_in(name), order, bare, unclear, tuple(gaps), "" if says_kind else USUAL_KIND
    )


def _only_names(read: SheetTable, mapping: Sequence[str]) -> bool:
    """Whether a sheet has nothing but a column of names, which does not say itself that it is one of cables."""
    used = [at for at, key in enumerate(mapping) if key]
    return [mapping[at] for at in used] == ["label"] and not is_of_cables(read.header[used[0]])


def asides_of(read: SheetTable, mapping: Sequence[str], kind: SheetKind) -> dict[int, Aside]:
    """The rows of a sheet that are no entries, by line."""
    alone = stands_alone if kind is SheetKind.GEAR else lambda _cell, _field: False
    return skipped_rows.asides(read, mapping, KNOWN, alone)


def _guessed(kind: SheetKind, read: SheetTable) -> tuple[str, ...]:
    """What each column is taken for by its name; of gear, one of tags and one of kinds also by its cells. Where no row
    names the columns, somebody has to say.
    """
    if not read.named:
        return ("",) * len(read.header)
    keys = columns.guess(fields(kind), _told_apart(read))
    if kind is SheetKind.TESTS:
        return keys
    if "code" in keys:  # a program may have numbers of its own
        at = keys.index("code")
        if columns.bare(read.header[at]) in _OWN_TAGS and not any(map(_may_be_code, _cells(read, at))):
            keys = _numbered(columns.guess(UNCODED, read.header), at)
    left = (at for at, key in enumerate(keys) if not key)
    kinds = next((at for at in left if "kind" not in keys and _names_kinds(_cells(read, at))), None)
    return tuple("kind" if at == kinds else key for at, key in enumerate(keys))


def _told_apart(read: SheetTable) -> tuple[str, ...]:
    """The names of the columns, without those that two have which say different things: which is it?"""
    cells: dict[str, set[tuple[str, ...]]] = {}
    for at, name in enumerate(read.header):
        cells.setdefault(folded(name), set()).add(tuple(line.cells[at].strip() for line in read.lines))
    blank = ("",) * len(read.lines)
    return tuple("" if len(cells[folded(name)] - {blank}) > 1 else name for name in read.header)


def _numbered(keys: tuple[str, ...], at: int) -> tuple[str, ...]:
    """With a program's own numbers for labels; a name beside them is kept as a description."""
    beside = "" if "description" in keys else "description"
    return tuple("label" if other == at else beside if key == "label" else key for other, key in enumerate(keys))


def _names_kinds(cells: Sequence[str]) -> bool:
    """Whether most cells say what a piece is, be it something that has no place here."""
    named = sum(bool(kind_in(cell) or no_microphone_in(cell)) for cell in cells)
    return 2 * named > len(cells)


def _may_be_code(cell: str) -> bool:
    """Whether a cell is a code, or one with a slip in it: a program's own numbers look unlike it."""
    letters = plain(cell).upper().replace("-", "").replace(" ", "")
    slip = len(letters) == LENGTH and set(letters) <= set(ALPHABET) and not letters.isdigit()
    return slip or is_code(cell)


def _cells(read: SheetTable, at: int) -> tuple[str, ...]:
    return tuple(line.cells[at] for line in read.lines if line.cells[at].strip())


def chosen(seen: Look, pairs: Sequence[str]) -> tuple[str, ...]:
    """The field of each column, where some are set right by `NAME=FIELD`. What is said goes before what is guessed.

    A column is named by its name or as "Column 4", a field by its key or its words; no field leaves the column out.

    Raises:
        Invalid: for `column`, where there is none of that name, or no such field.
    """
    keys = [column.key for column in seen.columns]
    for pair in pairs:
        name, _, word = pair.rpartition("=")
        at, key = _column(seen, name), _field(seen.kind, word)
        keys = ["" if key and one == key else one for one in keys]
        keys[at] = key
    return tuple(keys)


def _column(seen: Look, name: str) -> int:
    names = [folded(column.name) for column in seen.columns]
    places = [f"column {number}" for number in seen.sheet.numbers]
    if names.count(folded(name)) == 1:
        return names.index(folded(name))
    if folded(name) in places:
        return places.index(folded(name))
    if folded(name) in names:
        twice = ", ".join(place for place, one in zip(places, names, strict=True) if one == folded(name))
        raise invalid("column", f"Several columns are called “{name[:40]}”; say which one: {twice}.")
    there = ", ".join(column.name for column in seen.columns)
    raise invalid("column", f"There is no column “{name[:40]}”; there are {there}.")


def _field(kind: SheetKind, word: str) -> str:
    for field in fields(kind):
        if folded(word) in ("", folded(field.key), folded(field.words)):
            return field.key if word.strip() else ""
    raise invalid(
        "column",
        f"A column of {kind} is never “{word[:40]}”; it is one of {', '.join(f.key for f in fields(kind))}, "
        "or nothing, to leave it out.",
    )


def read_asked(text: str, typed: Mapping[str, str]) -> ImportRequest:
    """What a form asks for: `kind`, `column0` …, `unit`, `order`, `item_kind`, `between`, `bad`, `above`.

    Raises:
        Invalid: with a sentence for each field at fault.
    """
    kind = SheetKind.TESTS if typed.get("kind") == SheetKind.TESTS else SheetKind.GEAR
    width = len(sheet.read_sheet(text, KNOWN).header)
    mapping = tuple(typed.get(f"column{at}", "") for at in range(width))
    unit, order = typed.get("unit", ""), typed.get("order", "")
    request = ImportRequest(
        text,
        kind,
        mapping,
        Unit(unit) if unit in set(Unit) else None,
        Order(order) if order in set(Order) else None,
        typed["item_kind"] if typed.get("item_kind") in ("", *KINDS) else look(text, kind, mapping).usual_kind,
        {"yes": True, "no": False}.get(typed.get("between", "")),
        BadRows.GOOD if typed.get("bad") == BadRows.GOOD else BadRows.ALL,
        Above(typed["above"]) if typed.get("above") in set(Above) else None,
    )
    check(request)
    return request


def check(request: ImportRequest) -> None:
    """Whether enough is said to read the sheet.

    Raises:
        Invalid: with a sentence for each field at fault.
    """
    errors: dict[str, str] = {}
    seen = look(request.text, request.kind, request.mapping)
    try:
        columns.check(fields(request.kind), request.mapping, _needed(request, seen.sheet))
    except Invalid as refusal:
        first = "" if seen.sheet.named else "No row of this sheet names the columns. "
        errors |= {field: f"{first}{why}" for field, why in refusal.errors.items()}
        if "length" in errors:
            short = " or ".join(kind.name for kind in KINDS.values() if not kind.has_length)
            errors["length"] += f" Where each row is a {short}, which has none, choose that as the kind of gear."
    errors |= _twins(request, seen.sheet)
    if seen.bare and request.unit is None:
        errors["unit"] = "Some lengths are numbers without a unit. Say what they are."
    if seen.gaps and request.above is None:
        line, place = seen.gaps[0]
        errors["above"] = (
            f"Line {line} has no place, and “{place}” stands above it. Say whether an empty cell means the place above."
        )
    if seen.unclear and request.order is None:
        errors["order"] = f"“{seen.unclear}” may be read in two ways. Say which number comes first."
    if errors:
        raise Invalid(" ".join(dict.fromkeys(errors.values())), errors)


def _twins(request: ImportRequest, read: SheetTable) -> dict[str, str]:
    """A sentence for each column that is left out since another of its name says something else."""
    told_apart = _told_apart(read)
    by_name = columns.guess(fields(request.kind), read.header)
    alike = {folded(name) for name, key in zip(read.header, by_name, strict=True) if key}
    named = {folded(name) for name, key in zip(read.header, request.mapping, strict=True) if key}
    return {
        f"column{at}": f"Several columns are called “{name}” and say different things. Choose which of them is what."
        for at, name in enumerate(read.header)
        if name and not told_apart[at] and folded(name) in alike - named
    }


def _needed(request: ImportRequest, read: SheetTable) -> tuple[str, ...]:
    if request.kind is SheetKind.TESTS:
        return ("code", "tested_at", "verdict")
    # A sheet that changes what is here needs the codes only; new cables need their lengths, and hubs have none.
    by_row = not KINDS[request.item_kind or USUAL_KIND].has_length or not {"code", "kind"}.isdisjoint(request.mapping)
    telling = (at for at, key in enumerate(request.mapping) if key in TELLING)
    has_lengths = any(length_in(cell) for at in telling for cell in _cells(read, at))
    return () if by_row or has_lengths else ("length",)
