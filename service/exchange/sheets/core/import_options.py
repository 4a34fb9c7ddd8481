"""The options of an import: the sheet, the fields of its columns, and how to read its cells. Pure."""

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
from service.exchange.sheets.core.skipped_rows import SkippedRow
from service.exchange.sheets.core.uncertain_rows import TELLING
from service.exchange.sheets.core.wiring_guess import heading_of, stands_alone
from service.gear.core import KINDS, USUAL_KIND
from service.kit.codes import ALPHABET, LENGTH
from service.kit.problems import Invalid, invalid
from service.kit.quantities import Unit
from service.kit.text import plain

_OWN_TAGS = ("code", "tag", "tag code", "tag no", "tag number")
SHOWN = 3
"""How many cells of each column are shown beside its guessed field."""


class SheetKind(StrEnum):
    """What the rows of a sheet are."""

    GEAR = "gear"
    TESTS = "tests"


class BlankPlace(StrEnum):
    """What an empty cell below a place means."""

    SAME = "same"
    NONE = "none"


@dataclass(frozen=True)
class ImportRequest:
    """A requested import. `text` is the sheet, `mapping` the key of a field, or nothing, for each column.

    `unit` is the unit of bare lengths, `order` the order of dates with two possible readings, `item_kind` the kind of
    rows that name none (empty: they stay out), `between` whether an item was repaired between a fail and a pass if the
    sheet has no repair (None: not answered), `above` what an empty cell below a place means.
    """

    text: str
    kind: SheetKind
    mapping: tuple[str, ...]
    unit: Unit | None
    order: Order | None
    item_kind: str
    between: bool | None
    bad: BadRows = BadRows.ALL
    above: BlankPlace | None = None


@dataclass(frozen=True)
class Column:
    """A column as the page shows it: its name ("Column 4" if it has none), its field, and its first cells."""

    name: str
    key: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class SheetPreview:
    """What a first look at a sheet shows: what its rows are, its columns, and what has to be asked.

    `bare` says that there are lengths without a unit, `ambiguous_date` is a date with two possible readings, `gaps` are
    the lines without a place below one that has it, each with that place. `usual_kind` is the kind of rows that name
    none, until somebody answers: none if the sheet describes its gear in words (`recognized_gear`), else a cable.
    """

    kind: SheetKind
    sheet: SheetTable
    columns: tuple[Column, ...]
    unit: Unit | None
    order: Order | None
    bare: bool
    ambiguous_date: str | None
    gaps: tuple[tuple[int, str], ...] = ()
    usual_kind: str = USUAL_KIND


def fields(kind: SheetKind) -> tuple[Field, ...]:
    """The fields that the columns of a sheet may have."""
    return GEAR if kind is SheetKind.GEAR else TESTS


def preview_sheet(text: str, kind: SheetKind | None = None, mapping: Sequence[str] | None = None) -> SheetPreview:
    """A first look at the sheet; `kind` and `mapping` are what somebody has chosen, if anything.

    Raises:
        Invalid: for `file`, if it is no sheet.
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
    ambiguous_date = None if order else days.first_ambiguous(dates)
    if kind is SheetKind.TESTS:
        return SheetPreview(kind, read, shown, columns.unit_in(name), order, bare, ambiguous_date)
    skipped = skipped_rows_of(read, keys, kind)
    gaps = skipped_rows.gaps(read, keys, skipped)
    says_kind = _only_names(read, keys) or describes(
        read, keys, skipped, skipped_rows.sections(read, skipped, heading_of)
    )
    return SheetPreview(
        kind,
        read,
        shown,
        columns.unit_in(name),
        order,
        bare,
        ambiguous_date,
        tuple(gaps),
        "" if says_kind else USUAL_KIND,
    )


def _only_names(read: SheetTable, mapping: Sequence[str]) -> bool:
    """Whether a sheet has only a column of names, whose own name does not say that they are cables."""
    used = [at for at, key in enumerate(mapping) if key]
    return [mapping[at] for at in used] == ["label"] and not is_of_cables(read.header[used[0]])


def skipped_rows_of(read: SheetTable, mapping: Sequence[str], kind: SheetKind) -> dict[int, SkippedRow]:
    """The rows of a sheet that are not entries, by line."""
    alone = stands_alone if kind is SheetKind.GEAR else lambda _cell, _field: False
    return skipped_rows.list_skipped_rows(read, mapping, KNOWN, alone)


def _guessed(kind: SheetKind, read: SheetTable) -> tuple[str, ...]:
    """The field of each column, guessed by its name; in a sheet of gear, tags and kinds also by their cells. Without a
    row that names the columns nothing is guessed.
    """
    if not read.named:
        return ("",) * len(read.header)
    keys = columns.guess(fields(kind), _unambiguous_names(read))
    if kind is SheetKind.TESTS:
        return keys
    if "code" in keys:  # a program may number its gear itself
        at = keys.index("code")
        if columns.plain_name(read.header[at]) in _OWN_TAGS and not any(map(_may_be_code, _cells(read, at))):
            keys = _numbered(columns.guess(UNCODED, read.header), at)
    left = (at for at, key in enumerate(keys) if not key)
    kinds = next((at for at in left if "kind" not in keys and _names_kinds(_cells(read, at))), None)
    return tuple("kind" if at == kinds else key for at, key in enumerate(keys))


def _unambiguous_names(read: SheetTable) -> tuple[str, ...]:
    """The names of the columns; empty for two columns with the same name but different cells, since it is unclear which
    one is meant."""
    cells: dict[str, set[tuple[str, ...]]] = {}
    for at, name in enumerate(read.header):
        cells.setdefault(folded(name), set()).add(tuple(line.cells[at].strip() for line in read.lines))
    blank = ("",) * len(read.lines)
    return tuple("" if len(cells[folded(name)] - {blank}) > 1 else name for name in read.header)


def _numbered(keys: tuple[str, ...], at: int) -> tuple[str, ...]:
    """The fields with a program's own numbers as the label; a column of names beside them becomes the description."""
    beside = "" if "description" in keys else "description"
    return tuple("label" if other == at else beside if key == "label" else key for other, key in enumerate(keys))


def _names_kinds(cells: Sequence[str]) -> bool:
    """Whether most cells say what a piece is, even if it is nothing that can be imported."""
    named = sum(bool(kind_in(cell) or no_microphone_in(cell)) for cell in cells)
    return 2 * named > len(cells)


def _may_be_code(cell: str) -> bool:
    """Whether a cell is a code, perhaps with a typing error; a program's own numbers look different."""
    letters = plain(cell).upper().replace("-", "").replace(" ", "")
    slip = len(letters) == LENGTH and set(letters) <= set(ALPHABET) and not letters.isdigit()
    return slip or is_code(cell)


def _cells(read: SheetTable, at: int) -> tuple[str, ...]:
    return tuple(line.cells[at] for line in read.lines if line.cells[at].strip())


def chosen(seen: SheetPreview, pairs: Sequence[str]) -> tuple[str, ...]:
    """The field of each column, some of them corrected by `NAME=FIELD`, which has priority over what is guessed.

    A column is given by its name or as "Column 4", a field by its key or its words; no field leaves the column out.

    Raises:
        Invalid: for `column`, if there is no column of that name, or no such field.
    """
    keys = [column.key for column in seen.columns]
    for pair in pairs:
        name, _, word = pair.rpartition("=")
        at, key = _column(seen, name), _field(seen.kind, word)
        keys = ["" if key and one == key else one for one in keys]
        keys[at] = key
    return tuple(keys)


def _column(seen: SheetPreview, name: str) -> int:
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
    """The import that a form requests: `kind`, `column0` …, `unit`, `order`, `item_kind`, `between`, `bad`, `above`.

    Raises:
        Invalid: with a sentence for each wrong field.
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
        typed["item_kind"] if typed.get("item_kind") in ("", *KINDS) else preview_sheet(text, kind, mapping).usual_kind,
        {"yes": True, "no": False}.get(typed.get("between", "")),
        BadRows.GOOD if typed.get("bad") == BadRows.GOOD else BadRows.ALL,
        BlankPlace(typed["above"]) if typed.get("above") in set(BlankPlace) else None,
    )
    check(request)
    return request


def check(request: ImportRequest) -> None:
    """Check that everything is answered that is needed to read the sheet.

    Raises:
        Invalid: with a sentence for each wrong or missing field.
    """
    errors: dict[str, str] = {}
    seen = preview_sheet(request.text, request.kind, request.mapping)
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
    if seen.ambiguous_date and request.order is None:
        errors["order"] = f"“{seen.ambiguous_date}” may be read in two ways. Say which number comes first."
    if errors:
        raise Invalid(" ".join(dict.fromkeys(errors.values())), errors)


def _twins(request: ImportRequest, read: SheetTable) -> dict[str, str]:
    """A sentence for each column that is left out because another column has the same name but other cells."""
    unambiguous = _unambiguous_names(read)
    by_name = columns.guess(fields(request.kind), read.header)
    alike = {folded(name) for name, key in zip(read.header, by_name, strict=True) if key}
    named = {folded(name) for name, key in zip(read.header, request.mapping, strict=True) if key}
    return {
        f"column{at}": f"Several columns are called “{name}” and say different things. Choose which of them is what."
        for at, name in enumerate(read.header)
        if name and not unambiguous[at] and folded(name) in alike - named
    }


def _needed(request: ImportRequest, read: SheetTable) -> tuple[str, ...]:
    if request.kind is SheetKind.TESTS:
        return ("code", "tested_at", "verdict")
    # A sheet that only changes existing gear needs just the codes; new cables need lengths, and hubs have none.
    by_row = not KINDS[request.item_kind or USUAL_KIND].has_length or not {"code", "kind"}.isdisjoint(request.mapping)
    telling = (at for at, key in enumerate(request.mapping) if key in TELLING)
    has_lengths = any(length_in(cell) for at in telling for cell in _cells(read, at))
    return () if by_row or has_lengths else ("length",)
