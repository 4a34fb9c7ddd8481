"""Importing and exporting files, as the command line does: a whole program as JSON, gear and tests as CSV."""

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
from service.exchange.sheets.core.import_options import Above, ImportRequest, SheetKind, look
from service.exchange.sheets.core.row_status import STAYS_OUT, BadRows, RowStatus, counted, seal
from service.exchange.sheets.core.sheet import read_bytes
from service.exchange.sheets.export import gear_csv, tests_csv
from service.exchange.sheets.importing import work_out_import
from service.exchange.sheets.messages import counts_in_words, on_one_line
from service.exchange.whole.actions import bring_in as bring_in_whole
from service.exchange.whole.actions import export
from service.kit.problems import Invalid, Problem, invalid
from service.kit.quantities import Unit
from service.store.drafts import carried_over
from service.store.files import put_in_place
from service.store.sessions import Store, retry_on_conflict


def take_out(store: Store, now: datetime, json_file: str | None, csv_folder: str | None) -> list[str]:
    """Write the program as JSON, and gear and tests as CSV, whichever is asked for; a line for each file.

    Raises:
        Problem: nothing is asked for, or a file cannot be written.
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


def read_answers(
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
    """What the command line says of a sheet, from its words; None leaves it to the sheet."""
    return Answers(
        kind=SheetKind(sheet) if sheet else None,
        columns=columns,
        unit=Unit(unit) if unit else None,
        order=Order(order) if order else None,
        item_kind=item_kind,
        between=between,
        above=Above(blank_place) if blank_place else None,
        bad=BadRows.GOOD if take_good else BadRows.ALL,
    )


def take_in(store: Store, now: datetime, file: str, answers: Answers, *, dry: bool) -> Iterator[str]:
    """Import a file, by what it is; lines that say what was done, or with `dry` what would be.

    Raises:
        Problem: it cannot be taken, or with `dry` it could not be; nothing was written.
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
        raise Problem(" ".join([refusal.detail, *_ways_out(refusal)])) from refusal


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
"""By which option the command line answers what a refusal asks for, by its field; all else is of columns."""
_OTHER_KIND = "Say --gear or --tests where the sheet is of the other kind."


def _ways_out(refusal: Invalid) -> list[str]:
    """The options that answer a refusal, each once."""
    ways = []
    for field in refusal.errors:
        if field in _OPTIONS:
            ways.append(_OPTIONS[field])
        else:  # a field that is needed and no column is, or a column at fault
            what = "FIELD" if field.startswith("column") else field
            ways += [f'Answer with --column "NAME={what}".', _OTHER_KIND]
    return [way for way in dict.fromkeys(ways) if way]


def _whole(store: Store, path: Path, *, dry: bool) -> Iterator[str]:
    with store.writing() as db, path.open(encoding="utf-8-sig") as stream:
        counts = bring_in_whole(db, stream)
        if dry:
            db.rollback()
    summary = ", ".join(f"{count:,} in {table}" for table, count in counts.items() if count)
    yield f"{'It can be brought in' if dry else 'Brought in the whole program'}: {summary}."
    if not dry:
        yield "Nobody has a passphrase or a pass in it: make a way in with coilbook pass --role lead."


def _sheet(store: Store, now: datetime, content: bytes, answers: Answers, *, dry: bool) -> Iterator[str]:
    text = read_bytes(content)
    request = actions.answered(text, answers)
    seen = look(text, request.kind, request.mapping)
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
        _check_would_come_in(counts, answers.bad)
        return
    yield f"A sheet of {words}, before anything is written: {counts_in_words(counts)}."
    with store.reading() as db:
        founded = program_facts(db) is None
    try:
        done = retry_on_conflict(lambda: _bring_in_sheet(store, request, setting, seal(plan.rows)))
    except WrongRows as refusal:
        if "rows" in refusal.errors:  # they are no longer as they were told above
            yield from (on_one_line(row, setting.unit) for row in refusal.rows if row.status in STAYS_OUT)
        raise
    for line, href, lead in done["after"]:
        yield f"line {line}: if this corrected {lead[:1].lower()}{lead[1:]}, void that one: {href}"
    counts = {RowStatus(status): count for status, count in done["counts"].items()}
    yield f"Brought in a sheet of {words}: {counts_in_words(counts)}."
    if founded:
        yield "There was no program yet, so one was set up, in UTC and in feet; a lead can change that under Settings."


def _bring_in_sheet(store: Store, request: ImportRequest, setting: Setting, seen: str) -> dict[str, Any]:
    """Import a sheet into the program, which is set up where there is none."""
    work = work_out_import(
        store, request, None, setting, seen, lambda db: found_program(db, FIRST_NAME, _ZONE, setting.now)
    )

    def write() -> dict[str, Any]:
        with store.writing(work.prepare) as db:
            return work.carry_over(db).answer

    return carried_over(work, write)


def _check_would_come_in(counts: dict[RowStatus, int], bad: BadRows) -> None:
    """Refuse what an import would refuse, for a dry run."""
    wrong, every = counts[RowStatus.ERROR], sum(counts.values())
    if wrong and bad is BadRows.ALL:
        are = "is" if wrong == 1 else "are"
        raise invalid("bad", f"{wrong:,} of {every:,} rows {are} wrong, so an import would write nothing.")


def _setting(db: Session, now: datetime) -> Setting:
    program = program_facts(db)
    # Until its lead says more, a program is set up in UTC and in feet (`found_program`).
    zone, unit = (program.zone, program.unit) if program else (_ZONE, Unit.FEET)
    return Setting(now, ZoneInfo(zone), Unit(unit))


def write_whole(path: Path, pieces: Iterable[bytes]) -> str:
    """Write a file whole or not at all; what to say about it.

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
    finally:  # whatever broke, no piece of it with people's names stays
        with suppress(OSError):
            partial.unlink(missing_ok=True)
    return f"Wrote {path}."


def _write(path: Path, pieces: Iterable[str]) -> str:
    return write_whole(path, (piece.encode() for piece in pieces))
