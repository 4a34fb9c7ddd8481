"""Importing and exporting files on the command line: a whole program as JSON, gear and tests as CSV."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.actions import found_program
from service.crew.core import FIRST_NAME
from service.crew.queries import program_facts
from service.exchange.sheets import actions
from service.exchange.sheets.actions import Answers, Setting, WrongRows
from service.exchange.sheets.core.days import Order
from service.exchange.sheets.core.import_options import BlankPlace, ImportRequest, SheetKind, preview_sheet
from service.exchange.sheets.core.row_status import STAYS_OUT, BadRows, RowStatus, counted, plan_digest
from service.exchange.sheets.core.sheet import read_bytes
from service.exchange.sheets.export import gear_csv, tests_csv
from service.exchange.sheets.importing import work_out_import
from service.exchange.sheets.messages import counts_in_words, on_one_line
from service.exchange.whole.actions import export, import_program
from service.kit.problems import Invalid, Problem, invalid
from service.kit.quantities import Unit
from service.store.drafts import carried_over
from service.store.files import put_in_place
from service.store.sessions import Store, retry_on_conflict


def export_files(store: Store, now: datetime, json_file: str | None, csv_folder: str | None) -> list[str]:
    """Write the program as JSON, or gear and tests as CSV, or both, as requested; returns a sentence for each file.

    Raises:
        Problem: neither is requested, or a file cannot be written.
    """
    if not json_file and not csv_folder:
        raise Problem("Say where to: --out FILE.json for the whole program, --csv FOLDER for gear and tests.")
    written = []
    if json_file:
        with store.reading() as db:
            written.append(_write(Path(json_file), export(db, now)))
    if csv_folder:
        with store.reading() as db:
            setting = _setting(db, now)
            gear, tests = gear_csv(db, setting.unit, setting.zone), tests_csv(db, setting.zone)
            written += [
                _write(Path(csv_folder, "gear.csv"), gear),
                _write(Path(csv_folder, "tests.csv"), tests),
            ]
    return written


def as_answers(
    *,
    sheet: str | None,
    columns: Sequence[str],
    unit: str | None,
    order: str | None,
    item_kind: str | None,
    between: bool | None,
    blank_place: str | None,
    take_good: bool,
) -> Answers:
    """The options of the command line as answers about a sheet; None leaves a question to the sheet."""
    return Answers(
        kind=SheetKind(sheet) if sheet else None,
        columns=columns,
        unit=Unit(unit) if unit else None,
        order=Order(order) if order else None,
        item_kind=item_kind,
        between=between,
        above=BlankPlace(blank_place) if blank_place else None,
        bad=BadRows.GOOD if take_good else BadRows.ALL,
    )


def import_file(store: Store, now: datetime, file: str, answers: Answers, *, dry: bool) -> Iterator[str]:
    """Import a file: JSON as a whole program, else a sheet. Returns lines that say what was done, or with `dry` what
    would be done.

    Raises:
        Problem: it cannot be imported; nothing was written.
    """
    path = Path(file)
    try:
        with path.open("rb") as opened:
            begins = opened.read(64).lstrip(b"\xef\xbb\xbf \t\r\n")
        if begins.startswith((b"{", b"[")):
            yield from _whole(store, path, dry=dry)
        else:
            yield from _sheet(store, now, path.read_bytes(), answers, dry=dry)
    except OSError as error:
        raise Problem(f"{file} cannot be read: {error.strerror}.") from error
    except UnicodeDecodeError as error:
        raise Problem(f"{file} is no UTF-8, as an export is. Export the program once more.") from error
    except Invalid as refusal:
        raise Problem(" ".join([refusal.detail, *_options_for(refusal)])) from refusal


_ZONE = "UTC"
_OPTIONS = {
    "unit": "Answer with --unit feet or --unit meters.",
    "order": "Answer with --dates mdy, --dates dmy or --dates ymd.",
    "between": "Answer with --repaired-between or --no-repaired-between.",
    "above": "Answer with --blank-place same or --blank-place none.",
    "bad": "Put those right, or bring in the others with --take-good.",
    "rows": "Run it once more.",
    "file": "",
}
"""The option of the command line that answers a refusal, by the refusal's field; all other fields are columns."""
_OTHER_KIND = "Say --gear or --tests where the sheet is of the other kind."


def _options_for(refusal: Invalid) -> list[str]:
    """The options that answer a refusal, without duplicates."""
    ways = []
    for field in refusal.errors:
        if field in _OPTIONS:
            ways.append(_OPTIONS[field])
        else:  # a required field without a column, or a wrong column
            what = "FIELD" if field.startswith("column") else field
            ways += [f'Answer with --column "NAME={what}".', _OTHER_KIND]
    return [way for way in dict.fromkeys(ways) if way]


def _whole(store: Store, path: Path, *, dry: bool) -> Iterator[str]:
    with store.writing() as db, path.open(encoding="utf-8-sig") as stream:
        counts = import_program(db, stream)
        if dry:
            db.rollback()
    summary = ", ".join(f"{count:,} in {table}" for table, count in counts.items() if count)
    yield f"{'It can be brought in' if dry else 'Brought in the whole program'}: {summary}."
    if not dry:
        yield "Nobody has a passphrase or a pass in it: make a way in with coilbook pass --role lead."


def _sheet(store: Store, now: datetime, content: bytes, answers: Answers, *, dry: bool) -> Iterator[str]:
    text = read_bytes(content)
    request = actions.make_request(text, answers)
    seen = preview_sheet(text, request.kind, request.mapping)
    words = "gear" if seen.kind is SheetKind.GEAR else "tests"
    for column, name in zip(seen.columns, seen.sheet.header, strict=True):
        meaning = column.key or "left out"
        yield f"column {name}: {meaning}" if name else f"{column.name.lower()}, which has no name: {meaning}"
    with store.reading() as db:
        setting = _setting(db, now)
        plan = actions.planned(db, request, setting)
    yield from (on_one_line(row, setting.unit) for row in plan.rows if dry or row.status in STAYS_OUT)
    if ends := actions.ends_in_words(plan):
        become = "Then the items of this sheet would be" if dry else "The items of this sheet become"
        yield f"{become}: {ends}."
    counts = counted(plan.rows)
    if dry:
        yield f"A sheet of {words}; nothing was written: {counts_in_words(counts)}."
    if counts[RowStatus.NOT_TAKEN] and not any(
        counts[status] for status in (RowStatus.NEW, RowStatus.CHANGED, RowStatus.SAME, RowStatus.ERROR)
    ):
        raise Problem(f"Nothing was brought in, since no row of it can be taken: {counts_in_words(counts)}.")
    if dry:
        _check_importable(counts, answers.bad)
        return
    yield f"A sheet of {words}, before anything is written: {counts_in_words(counts)}."
    with store.reading() as db:
        founded = program_facts(db) is None
    try:
        done = retry_on_conflict(lambda: _import_sheet(store, request, setting, plan_digest(plan.rows)))
    except WrongRows as refusal:
        if "rows" in refusal.errors:  # the rows are no longer as they were listed above
            yield from (on_one_line(row, setting.unit) for row in refusal.rows if row.status in STAYS_OUT)
        raise
    for line, href, lead in done["after"]:
        yield f"line {line}: if this corrected {lead[:1].lower()}{lead[1:]}, void that one: {href}"
    counts = {RowStatus(status): count for status, count in done["counts"].items()}
    yield f"Brought in a sheet of {words}: {counts_in_words(counts)}."
    if founded:
        yield "There was no program yet, so one was set up, in UTC and in feet; a lead can change that under Settings."


def _import_sheet(store: Store, request: ImportRequest, setting: Setting, seen: str) -> dict[str, Any]:
    """Import a sheet into the program, which is set up first if there is none."""
    work = work_out_import(
        store, request, None, setting, seen, lambda db: found_program(db, FIRST_NAME, _ZONE, setting.now)
    )

    def write() -> dict[str, Any]:
        with store.writing(work.prepare) as db:
            return work.carry_over(db).answer

    return carried_over(work, write)


def _check_importable(counts: dict[RowStatus, int], bad: BadRows) -> None:
    """For a dry run: raise what the import would raise."""
    wrong, every = counts[RowStatus.ERROR], sum(counts.values())
    if wrong and bad is BadRows.ALL:
        are = "is" if wrong == 1 else "are"
        raise invalid("bad", f"{wrong:,} of {every:,} rows {are} wrong, so an import would write nothing.")


def _setting(db: Session, now: datetime) -> Setting:
    program = program_facts(db)
    # Until its lead changes the settings, a program uses UTC and feet (`found_program`).
    zone, unit = (program.zone, program.unit) if program else (_ZONE, Unit.FEET)
    return Setting(now, ZoneInfo(zone), Unit(unit))


def write_whole(path: Path, pieces: Iterable[bytes]) -> str:
    """Write a file completely or not at all; returns a sentence about it.

    Raises:
        Problem: it cannot be written.
    """
    partial = path.with_name(f"{path.name}.partial")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with partial.open("wb") as file:
            file.writelines(pieces)
        put_in_place(partial, path)
    except OSError as error:
        raise Problem(f"{path} cannot be written: {error.strerror}.") from error
    finally:  # whatever failed, no part of it with people's names remains
        with suppress(OSError):
            partial.unlink(missing_ok=True)
    return f"Wrote {path}."


def _write(path: Path, pieces: Iterable[str]) -> str:
    return write_whole(path, (piece.encode() for piece in pieces))
