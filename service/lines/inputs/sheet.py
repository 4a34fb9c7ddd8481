"""An input list as a sheet (CSV): writing it, and reading one row after the other with its own errors."""

import csv
import io
from collections.abc import Sequence

from pydantic import ValidationError

from service.kit.csvs import BYTE_ORDER_MARK, unescaped_cell, write_csv
from service.kit.problems import Invalid, invalid
from service.kit.text import can_be_shown, plain
from service.lines.inputs.core import MOST_CHANNELS, SheetChannel
from service.lines.inputs.forms import ChannelFields
from service.lines.inputs.shown import ChannelShown
from service.sessions.code_input import read_codes
from service.web.problems import sentence

COLUMNS = ("Channel", "Source", "Microphone", "Phantom", "Place", "Items", "Lane", "Stays")
"""`Items` are the codes from the source to the mixer, apart by spaces; `Stays` the numbers of the joints that stay
plugged: 0 is the microphone's, 1 the one after the first item.
"""
NEEDED = ("Channel", "Source")
_YES = {"yes": True, "y": True, "true": True, "1": True, "x": True, "48 v": True, "": False, "no": False, "n": False}
_YES |= {"false": False, "0": False}


def sheet_of(rows: Sequence[ChannelShown]) -> str:
    """These channels as CSV, with a byte order mark for spreadsheets."""
    return BYTE_ORDER_MARK + write_csv(COLUMNS, [_cells(row) for row in rows])


def _cells(row: ChannelShown) -> list[object]:
    channel, line = row.channel, row.channel.line
    joints = [*(step.stays for step in row.steps), line.mixer_stays] if line else []
    return [
        channel.number,
        channel.source,
        channel.microphone,
        "yes" if channel.phantom else "no",
        channel.place,
        " ".join(step.code for step in row.steps),
        next((step.lane for step in row.steps if step.lane), ""),
        " ".join(str(number) for number, stays in enumerate(joints) if stays),
    ]


def read_sheet(text: str) -> list[SheetChannel]:
    """The channels of a sheet.

    Raises:
        Invalid: for `sheet`, with every row that is wrong and why.
    """
    if not can_be_shown(text.replace("\r", "")):
        raise invalid("sheet", "This sheet has characters that cannot be shown. Save it as CSV in UTF-8 and try again.")
    table = list(csv.reader(io.StringIO(text.removeprefix(BYTE_ORDER_MARK), newline=""), _dialect(text)))
    table = [[plain(unescaped_cell(cell)) for cell in row] for row in table]
    header = [cell.capitalize() for cell in table[0]] if table else []
    missing = [name for name in NEEDED if name not in header]
    if missing:
        raise invalid("sheet", f"The first row has to name the columns {', '.join(COLUMNS)}; {missing[0]} is missing.")
    rows = [(number, dict(zip(header, row, strict=False))) for number, row in enumerate(table[1:], 2) if any(row)]
    if not rows or len(rows) > MOST_CHANNELS:
        raise invalid("sheet", f"The sheet has {len(rows)} rows of channels; 1 to {MOST_CHANNELS} can be brought in.")
    channels, wrong = [], []
    for number, cells in rows:
        try:
            channels.append(_channel(number, cells))
        except Invalid as refusal:
            wrong.append(f"Row {number}: {refusal.detail}")
    numbers = [each.entry.number for each in channels]
    wrong += [
        f"Row {each.row}: channel {each.entry.number} stands in this sheet twice."
        for at, each in enumerate(channels)
        if each.entry.number in numbers[:at]
    ]
    if wrong:
        raise invalid("sheet", " ".join(wrong))
    return channels


def _dialect(text: str) -> type[csv.Dialect]:
    first = text.split("\n", 1)[0]

    class Separated(csv.excel):
        delimiter = max(",;\t", key=first.count)

    return Separated


def _channel(number: int, cells: dict[str, str]) -> SheetChannel:
    phantom = _YES.get(cells.get("Phantom", "").lower())
    if phantom is None:
        raise invalid("sheet", f"“{cells['Phantom'][:20]}” in Phantom is neither yes nor no.")
    stays = cells.get("Stays", "").replace(",", " ").split()
    if not all(each.isdecimal() and each.isascii() for each in stays):
        raise invalid("sheet", f"“{cells['Stays'][:20]}” in Stays is no list of joints, like 0 1.")
    try:
        fields = ChannelFields.model_validate(
            {
                "number": cells["Channel"],
                "source": cells["Source"],
                "microphone": cells.get("Microphone", ""),
                "phantom": phantom,
                "place": cells.get("Place", ""),
            }
        )
    except ValidationError as error:
        raise invalid("sheet", " ".join(sentence([str(one["loc"][0])], one) for one in error.errors())) from error
    codes = read_codes(cells["Items"]) if "Items" in cells else None
    joints = tuple(sorted({int(each) for each in stays})) if stays else None
    return SheetChannel(number, fields.entry(), codes, cells.get("Lane", ""), joints)
