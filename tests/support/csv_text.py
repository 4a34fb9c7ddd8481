"""Reading back the CSV that the service writes, with the standard library's reader."""

import csv
import io

from service.kit.csvs import BYTE_ORDER_MARK, unescaped_cell


def read_csv(text: str) -> list[list[str]]:
    """The rows, the header first, without the apostrophes against formulas."""
    lines = csv.reader(io.StringIO(text.removeprefix(BYTE_ORDER_MARK), newline=""), strict=True)
    return [[unescaped_cell(cell) for cell in line] for line in lines if line]
