"""Printing tags: the content of labels, the sheets and the printer of the program, the PDF."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import fields
from datetime import date, datetime
from functools import lru_cache
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.crew.queries import program_facts
from service.gear.core import KINDS, End, item_title
from service.gear.models import Port
from service.gear.wirings import connectors_in_words, find_wiring, ports_of
from service.kit.codes import read_code
from service.kit.problems import NotFound, invalid
from service.kit.quantities import Unit
from service.tags import queries
from service.tags.core.layout import Style, TagLabel
from service.tags.core.pages import Page, Setup, pages
from service.tags.core.printer import Printer
from service.tags.core.sheets import SHEETS, PaperSheet
from service.tags.core.symbols import CannotPrint, tag_url
from service.tags.models import LabelSheet, TagPrinter
from service.tags.queries import OnTag, refuse_ended, tag_on
from service.wiring.wirings import Wiring

ChannelWords = Callable[[Session, date, datetime], Mapping[str, str]]
"""What a tag says of the channels that its item carries, by code; `service.app` has the one of the input lists."""

FLAGS = Setup(style=Style.FLAG)
"""The setup of the command line: flags on plain paper."""


def sheets(db: Session) -> dict[str, PaperSheet]:
    """Every sheet for printing tags, by key: the built-in ones, then the program's own."""
    names = [each.name for each in fields(PaperSheet) if each.name != "cut"]
    own = {str(row.id): row for row in queries.label_sheets(db)}
    return SHEETS | {key: PaperSheet(**{name: getattr(row, name) for name in names}) for key, row in own.items()}


def sheet_called(db: Session, key: str) -> PaperSheet:
    """The sheet with this key.

    Raises:
        Invalid: there is none.
    """
    sheet = sheets(db).get(key)
    if sheet is None:
        raise invalid("sheet", f"“{key[:20]}” is no sheet here; choose one of the list.")
    return sheet


def usual_sheet(unit: Unit) -> str:
    """The key of the default sheet: plain paper, Letter or A4 by the program's unit."""
    return "a4" if unit is Unit.METERS else "letter"


def printer(db: Session) -> Printer:
    """The printer as it was last measured, or one without an error if none was measured."""
    row = queries.printer(db)
    return Printer(row.measured_x, row.measured_y, row.right, row.down) if row else Printer()


def tag_pages(
    db: Session, codes: Sequence[str], base_url: str | None, setup: Setup, channels: Mapping[str, str] | None = None
) -> list[Page]:
    """The pages with the tags of these codes, in their order; without codes, those of all items. `channels` is what
    they say of the channels that they carry, by code.

    Raises:
        CannotPrint: no address is set that a tag could carry, a label is too small for it, or nothing is to print.
        Invalid, NotFound, Gone: the set-up or a code is wrong.
    """
    tag_url(base_url, "")
    sheet = sheet_called(db, setup.sheet)
    read = [read_code(code) for code in codes]
    for code in read:
        refuse_ended(tag_on(db, code))
    program = program_facts(db)
    unit = Unit(program.unit if program else Unit.FEET)
    words = channels or {}
    labels = [
        label
        for on_tag in queries.to_draw(db, read)
        for label in _labels(db, on_tag, tag_url(base_url, on_tag.code), unit, setup.style, words.get(on_tag.code, ""))
    ]
    if not labels:
        raise CannotPrint("There is no gear yet, so there is no tag to print. Add gear first.")
    return pages(labels, sheet, setup.start, setup.around)


def tag_sheet(
    db: Session,
    codes: Sequence[str],
    base_url: str | None,
    setup: Setup = FLAGS,
    channels: Mapping[str, str] | None = None,
) -> bytes:
    """A PDF with the tags of these codes, one label for each end; see `tag_pages`.

    Raises:
        CannotPrint, Invalid: as `tag_pages`.
    """
    placed = tag_pages(db, codes, base_url, setup, channels)
    from service.tags.drawing import sheet_pdf  # the PDF library is loaded where it is used

    return sheet_pdf(placed, sheet_called(db, setup.sheet), printer(db))


def _labels(db: Session, on_tag: OnTag, url: str, unit: Unit, style: Style | None, channels: str) -> Iterator[TagLabel]:
    if not on_tag.kind:
        yield TagLabel(on_tag.code, on_tag.label, url, style=Style.PLATE)
        return
    usual = Style.FLAG if KINDS[on_tag.kind].has_flag_tag else Style.PLATE
    name = item_title(on_tag, unit)
    for end in End:
        more = _connectors(on_tag.wiring, find_wiring(db, on_tag.wiring), on_tag.kind, end)
        yield TagLabel(on_tag.code, name, url, end, more, style or usual, channels)


@lru_cache(maxsize=256)
def _connectors(key: str, wiring: Wiring, kind: str, end: End) -> str:
    return connectors_in_words([Port(**port) for port in ports_of(key, wiring, kind)], end)


def add_sheet(db: Session, sheet_id: UUID, sheet: PaperSheet, actor: Actor) -> str:
    """Store a sheet of the program's own, and return its name."""
    sizes = {each.name: getattr(sheet, each.name) for each in fields(PaperSheet) if each.name != "cut"}
    db.add(LabelSheet(id=sheet_id, **sizes, made_by=actor.who.id, created_at=actor.now, ended_at=None))
    db.flush()
    return sheet.name


def end_sheet(db: Session, sheet_id: UUID, now: datetime) -> None:
    """Stop offering a sheet of the program's own.

    Raises:
        NotFound: there is no such sheet.
    """
    sheet = db.get(LabelSheet, sheet_id)
    if sheet is None:
        raise NotFound("There is no such sheet. Go back to the sheets and look from there.")
    sheet.ended_at = sheet.ended_at or now
    db.flush()


def measured(db: Session, printer: Printer, actor: Actor) -> None:
    """Store the measurements of the printer."""
    sizes = {each.name: getattr(printer, each.name) for each in fields(Printer)}
    db.add(TagPrinter(**sizes, measured_at=actor.now, measured_by=actor.who.id))
    db.flush()
